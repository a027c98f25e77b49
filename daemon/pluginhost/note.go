package pluginhost

import (
	"fmt"

	"github.com/ampledger/ampledger/plugins/plugin"
)

// What bounds the notes to one summary: each becomes an event, which stays for ever.
const (
	mostNotes        = 16
	mostSubjectBytes = 80
	mostTextBytes    = 1000
)

// checkNotes refuses notes that nobody could read.
func checkNotes(notes []*plugin.Note) error {
	if len(notes) > mostNotes {
		return fmt.Errorf("%d notes to one summary, %d are allowed", len(notes), mostNotes)
	}
	for _, n := range notes {
		if !printable(n.GetSubject(), mostSubjectBytes) || !printable(n.GetText(), mostTextBytes) || !printable(n.GetChannel(), mostTextBytes) {
			return fmt.Errorf("a note's subject is not one line of %d bytes at most, or its text of %d", mostSubjectBytes, mostTextBytes)
		}
	}
	return nil
}
