package plugin

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
)

// Errors of CheckHandshake that say what is to be done.
var (
	errNoCertificate = errors.New("it gives no certificate: a plugin that talks without TLS is configured with plaintext: true")
	errCertificate   = errors.New("it gives a certificate though it is configured as plaintext: take plaintext out")
)

// shortestCertificate is what go-plugin takes for one, in characters.
const shortestCertificate = 51

// CheckHandshake refuses what go-plugin lets pass, or falls over, in a handshake line that it has taken so far: a certificate that is missing, or is
// there though the plugin talks in plain text; and then any address but a unix socket in the folder made for it, for nothing but that folder's
// mode keeps others away.
func CheckHandshake(line string, plaintext bool, folder string) error {
	fields := strings.Split(line, "|")
	certified := len(fields) > 5 && len(fields[5]) >= shortestCertificate
	switch {
	case !plaintext && !certified:
		return errNoCertificate
	case !plaintext:
		return nil
	case certified:
		return errCertificate
	case len(fields) < 4 || fields[2] != "unix" || filepath.Dir(fields[3]) != filepath.Clean(folder):
		return fmt.Errorf("its address is not a unix socket in the folder that PLUGIN_UNIX_SOCKET_DIR names, which one without TLS must use: %.200q", line)
	}
	return nil
}
