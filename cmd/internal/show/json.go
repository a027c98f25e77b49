package show

import (
	"bytes"
	"encoding/json"
	"io"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

var fields = protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}

// JSON writes a message indented, with the names of the proto files.
func JSON(to io.Writer, message proto.Message) error { return write(to, message, true) }

// JSONLine writes a message on one line.
func JSONLine(to io.Writer, message proto.Message) error { return write(to, message, false) }

// JSONList writes messages as one array, a message a line, so that it can be compared line by line.
func JSONList[M proto.Message](to io.Writer, messages []M) error {
	var text bytes.Buffer
	text.WriteString("[")
	for i, message := range messages {
		if i > 0 {
			text.WriteString(",")
		}
		text.WriteString("\n  ")
		if err := compact(&text, message); err != nil {
			return err
		}
	}
	text.WriteString("\n]\n")
	_, err := to.Write(text.Bytes())
	return err
}

// Value gives a message as a JSON value, to stand within another.
func Value(message proto.Message) (json.RawMessage, error) {
	var text bytes.Buffer
	err := compact(&text, message)
	return text.Bytes(), err
}

// write formats the text anew, since protojson varies its white space on purpose and our output must not vary.
func write(to io.Writer, message proto.Message, indent bool) error {
	var text bytes.Buffer
	if err := compact(&text, message); err != nil {
		return err
	}
	if indent {
		var indented bytes.Buffer
		if err := json.Indent(&indented, text.Bytes(), "", "  "); err != nil {
			return err
		}
		text = indented
	}
	text.WriteByte('\n')
	_, err := to.Write(text.Bytes())
	return err
}

func compact(to *bytes.Buffer, message proto.Message) error {
	raw, err := fields.Marshal(message)
	if err != nil {
		return err
	}
	return json.Compact(to, raw)
}
