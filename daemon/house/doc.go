// Package house holds the house rules as tests and nothing else: no code, no export, no goroutine.
//
// Each rule has a name, a check over the parsed tree of the whole module (client, cmd, daemon and plugins), the reason it is there,
// which its failure message gives, and samples: what it must refuse and what it must let pass. Two rules look at other things than Go
// code: one walks the proto descriptors for numeric fields without a unit, one reads the tracked text files for words that have no
// place in them. What buf lint, go vet and staticcheck check already is not checked again.
//
// Generated files are exempt throughout. Test support, to the rules, is a test file or a package whose name ends in "test".
package house
