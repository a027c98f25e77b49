package config

import (
	_ "embed"
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"strings"
	"sync"
)

// Key is one key of the configuration file with what it means.
type Key struct {
	Path     string `json:"path"`     // such as conductors[].channels[].shunt.gain; [] stands for each entry of a list
	Required bool   `json:"required"` // where the mapping it stands in is written
	Meaning  string `json:"meaning"`  // with the default, and the line of a data sheet where there is one
}

// The comments of the schema are the only description of the keys, so the program carries their text.
//
//go:embed schema.go
var schemaSource string

// Keys lists every key in the order of the schema. It panics if the schema's own text is not what was compiled, which a test excludes.
func Keys() []Key { return schemaKeysOnce() }

var schemaKeysOnce = sync.OnceValue(func() []Key {
	comments := schemaComments()
	var all []Key
	var visit func(t reflect.Type, path string)
	visit = func(t reflect.Type, path string) {
		for _, f := range fieldsOf(t) {
			at, inner := strings.TrimPrefix(path+"."+f.key, "."), t.FieldByIndex(f.index)
			of, suffix := plainType(inner.Type)
			all = append(all, Key{at, f.has("required"), comments.of(t, f.index, of)})
			if of.Kind() == reflect.Struct {
				visit(of, at+suffix)
			}
		}
	}
	visit(reflect.TypeFor[Config](), "")
	return all
})

// plainType takes pointers and lists off a type; the suffix is what a path has for them.
func plainType(t reflect.Type) (of reflect.Type, suffix string) {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		if t.Kind() == reflect.Slice {
			suffix += "[]"
		}
		t = t.Elem()
	}
	return t, suffix
}

// comments are those of the schema: by type, and by type and field.
type comments map[[2]string]string

func schemaComments() comments {
	tree, err := parser.ParseFile(token.NewFileSet(), "schema.go", schemaSource, parser.ParseComments)
	if err != nil {
		panic(err)
	}
	all := comments{}
	for _, declared := range tree.Decls {
		group, is := declared.(*ast.GenDecl)
		if !is || group.Tok != token.TYPE {
			continue
		}
		spec := group.Specs[0].(*ast.TypeSpec)
		all[[2]string{spec.Name.Name}] = oneLine(group.Doc.Text())
		for _, field := range spec.Type.(*ast.StructType).Fields.List {
			for _, name := range field.Names {
				all[[2]string{spec.Name.Name, name.Name}] = oneLine(field.Comment.Text())
			}
		}
	}
	return all
}

func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// of gives the comment of a field, or else that of the type it holds.
func (c comments) of(t reflect.Type, index []int, holds reflect.Type) string {
	for _, i := range index[:len(index)-1] {
		t = t.Field(i).Type // embedded
	}
	field := t.Field(index[len(index)-1])
	text := c[[2]string{t.Name(), field.Name}]
	if text == "" || text == "optional" {
		return c[[2]string{holds.Name()}]
	}
	return text
}
