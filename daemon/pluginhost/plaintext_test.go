//go:build unix

package pluginhost_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"math/big"
	"strings"
	"testing"

	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/scan"
)

// A plugin that talks without TLS is believed only on a socket in the folder that was made for it; what it says in its handshake, the
// others are told.
func TestTransportIsAsConfigured(t *testing.T) {
	t.Parallel()
	const own = "unix|$PLUGIN_UNIX_SOCKET_DIR/plugin"
	certificate := selfSigned(t)
	for name, c := range map[string]struct {
		plaintext bool
		address   string
		want      string
	}{
		"no certificate":          {false, own + "|grpc", "it gives no certificate: a plugin that talks without TLS is configured with plaintext: true"},
		"an empty certificate":    {false, own + "|grpc|", "it gives no certificate: a plugin that talks without TLS is configured with plaintext: true"},
		"an unwanted certificate": {true, own + "|grpc|" + certificate, "it gives a certificate though it is configured as plaintext: take plaintext out"},
		"a socket elsewhere":      {true, "unix|/tmp/plugin|grpc", `which one without TLS must use: "1|1|unix|/tmp/plugin|grpc"`},
		"a socket above":          {true, "unix|$PLUGIN_UNIX_SOCKET_DIR/../plugin|grpc", "which one without TLS must use: "},
		"an abstract socket":      {true, "unix|@plugin|grpc", `which one without TLS must use: "1|1|unix|@plugin|grpc"`},
		"a port":                  {true, "tcp|127.0.0.1:1234|grpc", `which one without TLS must use: "1|1|tcp|127.0.0.1:1234|grpc"`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			host, _ := newHost(t)
			path, sum := write(t, t.TempDir(), "script", "#!/bin/sh\necho \"1|1|"+c.address+"\"\nexec sleep 1000\n")
			_, err := host.StartDriver(t.Context(), pluginhost.Program{Path: path, SHA256: sum, Plaintext: c.plaintext}, "adc0", nil)
			if err == nil || !strings.HasPrefix(err.Error(), "driver script: handshake: ") || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error\n %v\nwant\n %s", err, c.want)
			}
		})
	}
}

// selfSigned is a certificate as it stands in a handshake.
func selfSigned(t *testing.T) string {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1)}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	return base64.RawStdEncoding.EncodeToString(der)
}

func TestPluginInPlainText(t *testing.T) {
	t.Parallel()
	host, _ := newHost(t)
	p := shipped("good")
	p.Plaintext = true
	d, err := host.StartDriver(t.Context(), p, "adc0", nil)
	if err != nil {
		t.Fatal(err)
	}
	defer closed(t, d.Process)
	if err := open(t, d).Next(new(scan.Frame)); err != nil {
		t.Error(err)
	}
}
