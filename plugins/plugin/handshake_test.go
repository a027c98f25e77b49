package plugin

import (
	"strings"
	"testing"
)

func TestHandshakeIsChecked(t *testing.T) {
	long, short := strings.Repeat("M", shortestCertificate), strings.Repeat("M", shortestCertificate-1)
	const elsewhere = "not a unix socket in the folder"
	for _, c := range []struct {
		line      string
		plaintext bool
		want      string // part of the error; "" = it passes
	}{
		{"1|1|unix|/run/x/plugin|grpc|" + long, false, ""},
		{"1|1|unix|/run/x/plugin|grpc|" + long + "|true", false, ""},
		{"1|1|unix|/run/x/plugin|grpc|" + short, false, "gives no certificate"},
		{"1|1|unix|/run/x/plugin|grpc", false, "gives no certificate"},
		{"", false, "gives no certificate"},
		{"1|1|unix|/run/x/plugin|grpc", true, ""},
		{"1|1|unix|/run/x/plugin|grpc|" + short, true, ""},
		{"1|1|unix|/run//x/./plugin|grpc", true, ""},
		{"1|1|unix|/run/x/plugin|grpc|" + long, true, "gives a certificate"},
		{"1|1|unix|/run/x/deeper/plugin|grpc", true, elsewhere},
		{"1|1|unix|/run/plugin|grpc", true, elsewhere},
		{"1|1|unix|/run/x/../plugin|grpc", true, elsewhere},
		{"1|1|unix|@plugin|grpc", true, elsewhere},
		{"1|1|unix|plugin|grpc", true, elsewhere},
		{"1|1|tcp|127.0.0.1:80|grpc", true, elsewhere},
		{"1|1|tcp", true, elsewhere},
	} {
		err := CheckHandshake(c.line, c.plaintext, "/run/x")
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q, plaintext %v: %v, want %q", c.line, c.plaintext, err, c.want)
		}
	}
}
