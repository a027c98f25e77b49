// Package pages reads rows out of a SQLite file, page by page, whether SQLite itself can still open it or not: it follows no tree, needs no
// header and no schema, and takes from each page that looks like a leaf what its cells hold. It is for recovering a damaged file.
//
// The layout is that of "Database File Format" (sqlite.org/fileformat2.html): pages and cells are its section 1, records its section 2,
// the log beside the file its section 4. Of the log, frames count up to the last commit, and none behind one whose checksum is wrong, as
// SQLite reads it.
//
// What comes is a guess as far as the page goes: it may be a row that was deleted since, or garbage that looks like one. Who reads it
// has to check it by what it says. Memory is bounded whatever the file holds; nothing is written; it starts no goroutine, and a File is
// for one goroutine.
package pages
