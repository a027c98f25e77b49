package query

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/ampledger/ampledger/client"
	"github.com/ampledger/ampledger/cmd/internal/cli"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// answerWithin is how long a daemon may take to answer a question.
const answerWithin = 10 * time.Second

// findConductor gives the conductor named in args, or the only one there is.
func findConductor(ctx context.Context, daemon *client.Client, args []string) (*ampledgerv1.Conductor, error) {
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	response, err := daemon.Readings.ListConductors(ctx, &ampledgerv1.ListConductorsRequest{})
	if err != nil {
		return nil, err
	}
	all := response.GetConductors()
	if len(args) == 0 && len(all) == 1 {
		return all[0], nil
	}
	var names []string
	for _, conductor := range all {
		names = append(names, conductor.GetName())
	}
	if len(args) == 0 {
		return nil, cli.Usagef("name a conductor: %s", strings.Join(names, ", "))
	}
	if i := slices.Index(names, args[0]); i >= 0 {
		return all[i], nil
	}
	return nil, cli.Usagef("there is no conductor %q; there are %s", args[0], strings.Join(names, ", "))
}

// channelNames gives the channels asked for, or all.
func channelNames(conductor *ampledgerv1.Conductor, wanted []string) ([]string, error) {
	var names []string
	for _, channel := range conductor.GetChannels() {
		names = append(names, channel.GetName())
	}
	for _, name := range wanted {
		if !slices.Contains(names, name) {
			return nil, cli.Usagef("conductor %s has no channel %q; it has %s", conductor.GetName(), name, strings.Join(names, ", "))
		}
	}
	if len(wanted) > 0 {
		return wanted, nil
	}
	return names, nil
}

// faultLines tells what keeps a conductor from being healthy.
func faultLines(conductor *ampledgerv1.Conductor) string {
	var b strings.Builder
	for _, fault := range conductor.GetFaults() {
		fmt.Fprintf(&b, "%s: %s\n", conductor.GetName(), fault)
	}
	return b.String()
}
