package query

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"go.uber.org/zap"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/shipped"
	"github.com/ampledger/ampledger/cmd/internal/show"
	"github.com/ampledger/ampledger/daemon"
	"github.com/ampledger/ampledger/daemon/config"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

//go:embed scenario/demo.yaml
var demoScenario []byte

// The conductors of the scenario and the stretch of duty a line covers.
const (
	demoConductor = "pack-negative"
	demoTruth     = "truth"
	demoLineHertz = 1.0 / 120
)

// demoChannels are shown side by side; the third is the two of them fused.
var demoChannels = []string{"shunt", "magnetic"}

// atItsPace makes of the scenario a configuration to start from: an hour then takes an hour.
var atItsPace = strings.NewReplacer("speed: 300", "speed: 1", ", played fast", "")

func demoCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "demo", Short: "See the main job done on an invented hour of a pack's duty (about 15 seconds)", Args: cobra.NoArgs,
		Long: "demo starts a daemon of its own on a built-in scenario: a shunt and a magnetic channel on one conductor, simulated, an hour of duty\n" +
			"with one overcurrent played in 12 seconds. It shows both channels' readings side by side, the event, and the charge statement.\n" +
			"It needs no configuration and leaves nothing behind.",
	}
	printOnly := c.Flags().Bool("print-config", false, "print the scenario's configuration instead: a start for one of your own")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if *printOnly {
			_, err := atItsPace.WriteString(c.OutOrStdout(), string(demoScenario))
			return err
		}
		return demo(c)
	}
	return c
}

// demo runs daemon and client in a folder that it removes.
func demo(c *cobra.Command) (err error) {
	folder, err := os.MkdirTemp("", "ampledger-demo-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	file := filepath.Join(folder, "demo.yaml")
	if err := os.WriteFile(file, demoScenario, 0o600); err != nil {
		return err
	}
	read, err := config.Load(file)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(c.Context())
	defer cancel()
	address, ended, err := startDaemon(ctx, read)
	if err != nil {
		return err
	}
	shown := demoClient(ctx, c, address)
	cancel()
	return errors.Join(shown, <-ended)
}

// startDaemon runs a daemon in this process until ctx ends; its plugins are processes of their own.
func startDaemon(ctx context.Context, read *config.Config) (address string, ended <-chan error, err error) {
	options, err := shipped.Options(zap.NewNop())
	if err != nil {
		return "", nil, err
	}
	ready, end := make(chan string, 1), make(chan error, 1)
	options.Ready = func(address string) { ready <- address }
	go func() { end <- daemon.Run(ctx, read, options) }()
	select {
	case address := <-ready:
		return address, end, nil
	case err := <-end:
		return "", nil, err
	}
}

func demoClient(ctx context.Context, c *cobra.Command, address string) error {
	daemon, err := client.Dial(address)
	if err != nil {
		return err
	}
	defer daemon.Close()
	fmt.Fprintf(c.OutOrStdout(), "A daemon runs on %s. One conductor, two channels; an hour of duty in 12 s. The first two minutes are a rest:\n"+
		"the contactor is open, so what the channels read then is their zero. Everything is simulated.\n\n", address)
	rows := show.NewBuckets(c.OutOrStdout(), demoChannels)
	if err := showDuty(ctx, daemon, rows); err != nil {
		return err
	}
	return showStatements(ctx, c, daemon)
}

// showDuty writes readings and events as they come, until the hour is over.
func showDuty(ctx context.Context, daemon *client.Client, rows *show.Buckets) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	items := make(chan any)
	give := func(item any) error {
		select {
		case items <- item:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	over, heard := make(chan error, 1), make(chan struct{})
	go func() {
		over <- daemon.FollowReadings(ctx, &ampledgerv1.StreamReadingsRequest{
			Conductor: demoConductor, Channels: demoChannels, FromOldest: true, MaxRateHertz: demoLineHertz,
		}, func(item *ampledgerv1.StreamReadingsResponse) error { return give(item) })
	}()
	go func() {
		defer close(heard)
		from := uint64(0)
		// It ends with ctx; what it gave until then is all there is to show.
		_ = daemon.FollowEvents(ctx, &ampledgerv1.StreamEventsRequest{Conductor: demoConductor, AfterLogSequence: &from},
			func(item *ampledgerv1.StreamEventsResponse) error { return give(item) })
	}()
	defer func() { cancel(); <-heard }()
	for {
		select {
		case item := <-items:
			if err := showItem(rows, item); err != nil {
				return err
			}
		case err := <-over:
			return errors.Join(err, rows.Flush())
		}
	}
}

func showItem(rows *show.Buckets, item any) error {
	switch it := item.(type) {
	case *ampledgerv1.StreamReadingsResponse:
		return addTo(rows, it)
	case *ampledgerv1.StreamEventsResponse:
		if it.GetDelivery() == ampledgerv1.Delivery_DELIVERY_RAISED {
			return rows.Note("EVENT " + show.Event(it.GetEvent()))
		}
	}
	return nil
}

// showStatements writes the charge statement and what there is to see in it.
func showStatements(ctx context.Context, c *cobra.Command, daemon *client.Client) error {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	statement, err := daemon.Charge.GetStatement(ctx, &ampledgerv1.GetStatementRequest{Conductor: demoConductor})
	if err != nil {
		return err
	}
	truth, err := daemon.Charge.GetStatement(ctx, &ampledgerv1.GetStatementRequest{Conductor: demoTruth})
	if err != nil {
		return err
	}
	fmt.Fprintln(c.OutOrStdout())
	if err := show.Statement(c.OutOrStdout(), statement); err != nil {
		return err
	}
	fmt.Fprintln(c.OutOrStdout())
	return show.Comparison(c.OutOrStdout(), statement.GetAccounts()[0], statement.GetAccounts()[1], truth.GetAccounts()[0])
}
