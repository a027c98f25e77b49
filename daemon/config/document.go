package config

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// deepest is the greatest nesting of brackets and list marks. The parser's time grows with the square of it and its stack in
// proportion, so a short file of nothing but brackets would stop the program.
const deepest = 64

// mostTokens is the greatest number of words and marks in a file; a channel with all its keys has about a hundred. The parser's time
// grows with the square of it for a long mapping: this many take it a second.
const mostTokens = 20_000

// readDocument gives the file's tree, or nil if nothing can be made of the text. The faults are those of YAML itself.
func readDocument(text []byte) (*node, Faults) {
	text, fault := clean(text)
	if fault != nil {
		return nil, Faults{*fault}
	}
	file, fault := parseYAML(string(text))
	if fault != nil {
		return nil, Faults{*fault}
	}
	body, fault := onlyBody(file)
	if fault != nil {
		return nil, Faults{*fault}
	}
	var c converter
	root := c.node(body)
	return root, c.faults
}

// clean refuses what no YAML file holds and makes all line ends alike: the parser counts two lines for CR LF after a comment.
func clean(text []byte) ([]byte, *Fault) {
	if len(text) > largestFile {
		return nil, &Fault{Text: fmt.Sprintf("the file is longer than %d bytes: it is hardly a configuration", largestFile)}
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	text = bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))
	text = bytes.ReplaceAll(text, []byte("\r"), []byte("\n"))
	for i, line := range bytes.Split(text, []byte("\n")) {
		if column, why := oddCharacter(line); column > 0 {
			return nil, &Fault{Line: i + 1, Column: column, Text: why}
		}
	}
	return text, nil
}

// oddCharacter finds the first character a line must not hold; column 0 = none.
func oddCharacter(line []byte) (column int, why string) {
	indented := true
	for column = 1; len(line) > 0; column++ {
		r, size := utf8.DecodeRune(line)
		switch {
		case r == utf8.RuneError && size == 1:
			return column, "this is not UTF-8: save the file as UTF-8"
		case r == '\t' && indented:
			return column, "a tab stands in the indentation: indent with spaces"
		case r != '\t' && (r < ' ' || r >= 0x7f && r < 0xa0 || r == '\u2028' || r == '\u2029' || r == '\ufeff'):
			return column, fmt.Sprintf("a control character (%U) stands here: take it out", r)
		}
		indented = indented && r == ' '
		line = line[size:]
	}
	return 0, ""
}

// parseYAML also turns a panic of the parser into a fault: the text comes from outside, and the parser is not ours.
func parseYAML(text string) (file *ast.File, fault *Fault) {
	defer func() {
		if recover() != nil {
			file, fault = nil, &Fault{Line: 1, Column: 1, Text: "this cannot be read as YAML"}
		}
	}()
	tokens := lexer.Tokenize(text)
	if len(tokens) > mostTokens {
		return nil, faultAt(placeOf(tokens[mostTokens]), fmt.Sprintf("the file holds more than %d words and marks: it is hardly a configuration", mostTokens))
	}
	if t := tooDeep(tokens); t != nil {
		return nil, faultAt(placeOf(t), fmt.Sprintf("nested deeper than %d levels", deepest))
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return nil, syntaxFault(err)
	}
	return file, nil
}

// tooDeep gives the first token that is nested too deep: within brackets, or in a row of marks on
// one line that each open something. (Nesting by indentation needs a longer line for each level, so it stays small by itself.)
func tooDeep(tokens token.Tokens) *token.Token {
	brackets, marks, line := 0, 0, 0
	for _, t := range tokens {
		if at := placeOf(t).line; at != line {
			marks, line = 0, at
		}
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			brackets++
		case token.SequenceEndType, token.MappingEndType:
			brackets = max(0, brackets-1)
		case token.SequenceEntryType, token.MappingKeyType, token.TagType, token.AnchorType, token.MappingValueType:
			marks++
		case token.CommentType:
		default:
			marks = 0
		}
		if brackets+marks > deepest {
			return t
		}
	}
	return nil
}

func syntaxFault(err error) *Fault {
	var at yaml.Error
	if !errors.As(err, &at) {
		return &Fault{Line: 1, Column: 1, Text: "this cannot be read as YAML"}
	}
	why, _, _ := strings.Cut(at.GetMessage(), "\n")
	return faultAt(placeOf(at.GetToken()), "this cannot be read as YAML: "+why)
}

// onlyBody gives the body of the only document.
func onlyBody(file *ast.File) (ast.Node, *Fault) {
	var body ast.Node
	for _, document := range file.Docs {
		if document.Body == nil {
			continue
		}
		if _, directive := document.Body.(*ast.DirectiveNode); directive {
			return nil, faultAt(placeOf(document.Body.GetToken()), "a YAML directive stands here: take the line out")
		}
		if body != nil {
			return nil, faultAt(placeOfNode(document.Body), "a second document begins here: one file is one configuration, take the --- out")
		}
		body = document.Body
	}
	if body == nil {
		return nil, faultAt(place{1, 1}, "the file is empty: it needs state, devices and conductors")
	}
	return body, nil
}

func faultAt(at place, text string) *Fault {
	return &Fault{Line: at.line, Column: at.column, Text: text}
}

func placeOf(t *token.Token) place {
	if t == nil || t.Position == nil {
		return place{1, 1}
	}
	return place{max(1, t.Position.Line), max(1, t.Position.Column)}
}
