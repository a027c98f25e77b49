package config

import (
	"fmt"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// kind is what stands at a node.
type kind int

const (
	absent   kind = iota // null, written out or not
	scalar               //
	sequence             //
	mapping              //
	refused              // something a fault was already given for
)

func (k kind) String() string {
	return [...]string{"nothing", "a single value", "a list", "a mapping", "an alias"}[k]
}

// node is a value of the file: YAML as far as it is taken.
type node struct {
	kind    kind
	at      place
	text    string // of a scalar
	plain   bool   // a scalar without quotes
	items   []*node
	pairs   []pair
	partial bool // keys of the mapping were refused, so none can be called missing
}

type pair struct {
	key   string
	at    place
	value *node
}

// converter makes the tree from the parser's and gives a fault for what is not taken.
type converter struct{ faults Faults }

func (c *converter) refuse(at place, text string) {
	c.faults = append(c.faults, *faultAt(at, text))
}

func (c *converter) node(n ast.Node) *node {
	at := placeOfNode(n)
	switch n := n.(type) {
	case nil:
		return &node{kind: absent, at: at}
	case *ast.NullNode:
		return &node{kind: absent, at: at}
	case *ast.MappingNode:
		return c.mapping(at, n.Values)
	case *ast.MappingValueNode:
		return c.mapping(at, []*ast.MappingValueNode{n})
	case *ast.SequenceNode:
		return c.sequence(at, n)
	case *ast.StringNode:
		return &node{kind: scalar, at: at, text: n.Value, plain: n.Token.Type == token.StringType}
	case *ast.LiteralNode:
		return &node{kind: scalar, at: at, text: literal(n)}
	case *ast.AnchorNode:
		c.refuse(at, "anchors (&) are not taken: write the value out where it is needed")
		return c.node(n.Value)
	case *ast.TagNode:
		c.refuse(at, "tags (!) are not taken: write the value alone")
		return c.node(n.Value)
	case *ast.AliasNode:
		c.refuse(at, "aliases (*) are not taken: write the value out; a text that begins with * needs quotes")
		return &node{kind: refused, at: at}
	case ast.ScalarNode: // numbers, true, false, .inf, .nan: what they are is decided by the key they stand at
		return &node{kind: scalar, at: at, text: n.GetToken().Value, plain: true}
	}
	c.refuse(at, "this is not taken: write a mapping, a list or a single value")
	return &node{kind: refused, at: at}
}

func literal(n *ast.LiteralNode) string {
	if n.Value == nil {
		return ""
	}
	return n.Value.Value
}

func (c *converter) sequence(at place, n *ast.SequenceNode) *node {
	made := &node{kind: sequence, at: at}
	for _, value := range n.Values {
		made.items = append(made.items, c.node(value))
	}
	return made
}

func (c *converter) mapping(at place, values []*ast.MappingValueNode) *node {
	made := &node{kind: mapping, at: at}
	lines := map[string]int{}
	for _, value := range values {
		key, ok := c.key(value)
		if !ok {
			made.partial = true
			continue
		}
		keyAt := placeOf(value.Key.GetToken())
		if line, twice := lines[key]; twice {
			c.refuse(keyAt, fmt.Sprintf("the key %s is written twice in this mapping, first in line %d: take one out", quoted(key), line))
			continue
		}
		lines[key] = keyAt.line
		made.pairs = append(made.pairs, pair{key, keyAt, c.node(value.Value)})
	}
	return made
}

func (c *converter) key(value *ast.MappingValueNode) (text string, ok bool) {
	at := placeOf(value.Key.GetToken())
	switch key := value.Key.(type) {
	case *ast.MergeKeyNode:
		c.refuse(at, "merge keys (<<) are not taken: write the keys out")
	case *ast.StringNode:
		return key.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.NullNode, *ast.InfinityNode, *ast.NanNode:
		return key.GetToken().Value, true
	default:
		c.refuse(at, "write the key as a plain word and a colon")
	}
	return "", false
}

// placeOfNode gives where a value begins. The parser says the colon for a mapping in block form; we say its first key.
func placeOfNode(n ast.Node) place {
	switch n := n.(type) {
	case nil:
		return place{1, 1}
	case *ast.MappingNode:
		if !n.IsFlowStyle && len(n.Values) > 0 {
			return placeOf(n.Values[0].Key.GetToken())
		}
	case *ast.MappingValueNode:
		return placeOf(n.Key.GetToken())
	}
	return placeOf(n.GetToken())
}
