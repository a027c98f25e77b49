package serve

import (
	"fmt"

	"github.com/spf13/cobra"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"github.com/ampledger/ampledger/cmd/internal/cli"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
	"github.com/ampledger/ampledger/daemon"
)

func runCommand() *cobra.Command {
	level := zap.NewAtomicLevel()
	c := &cobra.Command{
		Use: "run CONFIG", Short: "Run the daemon until it is interrupted", Args: cli.Arguments(1),
		Long: "run reads the configuration file, serves on its socket and logs to standard error as JSON lines.\n" +
			"SIGINT or SIGTERM ends it: what was counted is posted, plugins are ended, the store is closed.",
	}
	text := c.Flags().String("log-level", "info", "debug, info, warn or error")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := level.UnmarshalText([]byte(*text)); err != nil {
			return cli.Usagef("--log-level: %w", err)
		}
		read, err := cli.LoadConfig(args[0])
		if err != nil {
			return err
		}
		log := newLog(level, c)
		defer func() { _ = log.Sync() }() // a pipe or a terminal cannot be synced; nothing is buffered
		options, err := shipped.Options(log)
		if err != nil {
			return err
		}
		if err := daemon.Run(c.Context(), read, options); err != nil {
			return fmt.Errorf("run: %w", err)
		}
		return nil
	}
	return c
}

// newLog writes JSON lines to the command's standard error.
func newLog(level zap.AtomicLevel, c *cobra.Command) *zap.Logger {
	encoding := zap.NewProductionEncoderConfig()
	encoding.EncodeTime = zapcore.RFC3339NanoTimeEncoder
	return zap.New(zapcore.NewCore(zapcore.NewJSONEncoder(encoding), zapcore.Lock(zapcore.AddSync(c.ErrOrStderr())), level))
}
