// Package config reads the configuration file, checks it and explains what it means for the measurement.
//
// It owns the file's form: the structs of this package, by their yaml tags, are the only description of it, and both the strict
// reading and the hints for misspelled keys come from them. A file is accepted as a whole or not at all. Everything that is wrong
// with it is told in one run, as [Faults]: one line each, in order of position, with line and column (in characters, from 1), the
// path of the value and what to do about it. A fault that only follows from another one is left out.
//
// Values carry the unit of their key (_amperes, _seconds, _celsius); a number is written alone, in decimal. Defaults are filled in
// one place, after the checks; a nil pointer in a read configuration still means "not said". Of YAML only the plain part is taken:
// one document of mappings, lists and scalars, without anchors, aliases, merge keys and tags, of at most 1 MiB and 20,000 words and marks, since the parser's time
// grows with the square of them.
//
// The package starts no goroutine, keeps no state and writes no file; [Load] alone touches the disk. Its functions may be called
// concurrently. A [Config] is not changed after it was handed out.
package config
