package formats

import (
	"errors"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"nilvolt/record"
)

// A mapReader reads the YAML of a column map and keeps everything that is wrong
// with it, each with its line and column.
type mapReader struct {
	file string
	bad  BadRows
}

// parse returns the top node of each document that is not empty.
func (r *mapReader) parse(data []byte) []ast.Node {
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		e := formError(r.file, 0, err.Error(), "keys of one list begin in the same column: those of the map in the first, those under  columns:  behind two blanks")
		var syntax interface {
			GetToken() *token.Token
			GetMessage() string
		}
		if errors.As(err, &syntax) && syntax.GetToken() != nil {
			e.Pos.Line = syntax.GetToken().Position.Line
			e.Pos.Column = syntax.GetToken().Position.Column
			e.Message = syntax.GetMessage()
		}
		r.bad.Add(e)
		return nil
	}
	var docs []ast.Node
	for _, doc := range file.Docs {
		if doc.Body != nil {
			docs = append(docs, doc.Body)
		}
	}
	return docs
}

// fail keeps a mistake at node n.
func (r *mapReader) fail(n ast.Node, field, text, message, mend string) {
	r.bad.Add(&RowError{Pos: r.place(n), Field: field, Text: text, Message: message, Mend: mend})
}

// place returns where node n begins.
func (r *mapReader) place(n ast.Node) record.Pos {
	if m, ok := n.(*ast.MappingNode); ok && !m.IsFlowStyle && len(m.Values) > 0 {
		n = m.Values[0].Key // the token of the mapping itself is a colon
	}
	at := record.Pos{File: r.file}
	if t := n.GetToken(); t != nil && t.Position != nil {
		at.Line, at.Column = t.Position.Line, t.Position.Column
	}
	return at
}

// An entry is one key of a mapping with its value.
type entry struct {
	key      string
	at, node ast.Node
}

// entries returns the entries of mapping n; anything else is a mistake.
func (r *mapReader) entries(n ast.Node, field string) []entry {
	var values []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		values = n.Values
	case *ast.MappingValueNode:
		values = []*ast.MappingValueNode{n}
	case *ast.NullNode:
		r.fail(n, field, "", "no value", "write  key: value  lines below it")
		return nil
	default:
		r.fail(n, field, scalarText(n), "not a list of keys with values", "write  key: value  lines")
		return nil
	}
	var out []entry
	for _, v := range values {
		if _, merge := v.Key.(*ast.MergeKeyNode); merge {
			r.fail(v.Key, field, "<<", "merge keys are not read", "write the lines out")
			continue
		}
		e := entry{key: keyText(v.Key), at: v.Key, node: v.Value}
		if slices.ContainsFunc(out, func(o entry) bool { return o.key == e.key }) {
			r.fail(v.Key, field, e.key, "the key stands twice", "keep one of the two")
			continue
		}
		out = append(out, e)
	}
	return out
}

// known keeps the entries whose key is one of keys; any other is a mistake.
func (r *mapReader) known(n ast.Node, field string, keys ...string) []entry {
	return slices.DeleteFunc(r.entries(n, field), func(e entry) bool {
		if slices.Contains(keys, e.key) {
			return false
		}
		r.fail(e.at, field, e.key, "unknown key", "the keys here are "+strings.Join(keys, ", "))
		return true
	})
}

// text returns the text of scalar n as it stands in the file.
func (r *mapReader) text(n ast.Node, field string) (string, bool) {
	if !isScalar(n) {
		if _, null := n.(*ast.NullNode); null {
			r.fail(n, field, "", "no value", `give one; blank text is written ""`)
		} else {
			r.fail(n, field, "", "not a single value", "write one text behind the colon")
		}
		return "", false
	}
	return scalarText(n), true
}

// texts returns the texts of a sequence of scalars, or of one scalar.
func (r *mapReader) texts(n ast.Node, field string) []string {
	list, ok := n.(*ast.SequenceNode)
	if !ok {
		if text, ok := r.text(n, field); ok {
			return []string{text}
		}
		return nil
	}
	var out []string
	for _, v := range list.Values {
		if text, ok := r.text(v, field); ok {
			out = append(out, text)
		}
	}
	return out
}

// isScalar reports whether n is a text, a number or a truth value. Anchors,
// aliases and tags are none: a map is to be read by eye.
func isScalar(n ast.Node) bool {
	switch n.(type) {
	case *ast.StringNode, *ast.LiteralNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return true
	}
	return false
}

func scalarText(n ast.Node) string {
	if literal, ok := n.(*ast.LiteralNode); ok {
		return literal.Value.Value
	}
	if !isScalar(n) {
		return ""
	}
	return n.GetToken().Value
}

func keyText(n ast.MapKeyNode) string { return n.GetToken().Value }
