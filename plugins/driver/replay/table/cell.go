package table

import "bytes"

// nextCell cuts the first cell off a line; more tells that a comma followed it. The cell is a part of the line's own memory.
func nextCell(line []byte) (cell, rest []byte, more bool, err error) {
	line = trimLeft(line)
	if len(line) > 0 && line[0] == '"' {
		return quotedCell(line[1:])
	}
	end := bytes.IndexByte(line, ',')
	if end < 0 {
		return trimRight(line), nil, false, nil
	}
	return trimRight(line[:end]), line[end+1:], true, nil
}

// quotedCell reads what follows an opening quote. Doubled quotes are made single in place: the line is the reader's own.
func quotedCell(line []byte) (cell, rest []byte, more bool, err error) {
	end := 0
	for i := 0; i < len(line); i++ {
		if line[i] == '"' {
			if i+1 == len(line) || line[i+1] != '"' {
				return afterQuote(line[:end], line[i+1:])
			}
			i++
		}
		line[end] = line[i]
		end++
	}
	return nil, nil, false, ErrOpenQuote
}

func afterQuote(cell, line []byte) (_, rest []byte, more bool, err error) {
	line = trimLeft(line)
	switch {
	case len(line) == 0:
		return cell, nil, false, nil
	case line[0] == ',':
		return cell, line[1:], true, nil
	}
	return nil, nil, false, ErrAfterQuote
}

func isBlank(c byte) bool { return c == ' ' || c == '\t' }

func trimLeft(text []byte) []byte {
	for len(text) > 0 && isBlank(text[0]) {
		text = text[1:]
	}
	return text
}

func trimRight(text []byte) []byte {
	for len(text) > 0 && isBlank(text[len(text)-1]) {
		text = text[:len(text)-1]
	}
	return text
}
