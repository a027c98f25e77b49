package client

import (
	"context"
	"fmt"
	"net"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/keepalive"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// maximumMessage bounds one message from the daemon, in bytes: a frame of the largest size with room to spare.
const maximumMessage = 16 << 20

// Client is a connection to a daemon with a client for each service.
type Client struct {
	Readings      ampledgerv1.ReadingServiceClient
	Charge        ampledgerv1.ChargeServiceClient
	Abuse         ampledgerv1.AbuseServiceClient
	Estimators    ampledgerv1.EstimatorServiceClient
	Commissioning ampledgerv1.CommissioningServiceClient
	Feeds         ampledgerv1.FeedServiceClient // Feed is more convenient
	conn          *grpc.ClientConn

	// Away is told when a stream that is followed breaks, with the reason, and with nil when the daemon answers again; nil = nobody is
	// told. Set it before anything is followed.
	Away func(reason error)
}

// Dial makes a client for an address: unix:/path/to/socket, or the path alone. It does not connect yet: a daemon that is not there
// shows at the first call, with code UNAVAILABLE.
func Dial(address string) (*Client, error) {
	path, isUnix := strings.CutPrefix(address, "unix:")
	if !isUnix && strings.Contains(address, "://") {
		return nil, fmt.Errorf("address %q: only unix sockets are served; write unix:/path/to/socket", address)
	}
	if path == "" {
		return nil, fmt.Errorf("address %q has no path", address)
	}
	// A dialer of our own, since a target is read as a URL and a path may hold what means something there.
	conn, err := grpc.NewClient("passthrough:///localhost",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
			var d net.Dialer
			return d.DialContext(ctx, "unix", path)
		}),
		grpc.WithTransportCredentials(insecure.NewCredentials()), // the socket's mode is the guard
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maximumMessage)),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 5 * time.Second},
			MinConnectTimeout: 5 * time.Second,
		}))
	if err != nil {
		return nil, fmt.Errorf("address %q: %w", address, err)
	}
	return &Client{
		Readings: ampledgerv1.NewReadingServiceClient(conn), Charge: ampledgerv1.NewChargeServiceClient(conn),
		Abuse: ampledgerv1.NewAbuseServiceClient(conn), Estimators: ampledgerv1.NewEstimatorServiceClient(conn),
		Commissioning: ampledgerv1.NewCommissioningServiceClient(conn), Feeds: ampledgerv1.NewFeedServiceClient(conn), conn: conn,
	}, nil
}

// Close ends the connection and every call on it.
func (c *Client) Close() error { return c.conn.Close() }
