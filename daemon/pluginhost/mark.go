package pluginhost

import "crypto/rand"

// Every plugin has two variables in its environment, which whatever it starts inherits, also what leaves its process group: a mark of its
// own, and that of the guardian, if there is one. By them all of it can be found and ended.
const (
	ownMark      = "AMPLEDGER_OWNER="
	guardianMark = "AMPLEDGER_GUARDIAN="
)

// newMark gives a text that nothing else has.
func newMark() string { return rand.Text() }

// killMarked ends all processes with a variable in their environment. One that starts others meanwhile is looked for again, but not for ever.
func killMarked(variable string) {
	const passes = 10
	for range passes {
		found := marked(variable)
		if len(found) == 0 {
			return
		}
		for _, process := range found {
			_ = process.Kill() // ended already = done
			_ = process.Release()
		}
	}
}
