package service

import (
	"google.golang.org/grpc/encoding"
	protocodec "google.golang.org/grpc/encoding/proto"
	"google.golang.org/grpc/mem"
)

// encoded is a message whose bytes exist already. Sending it hands over one reference to them.
type encoded struct{ bytes mem.Buffer }

// sharingCodec is the usual protobuf codec, which also takes messages that are encoded already.
type sharingCodec struct{ encoding.CodecV2 }

func newCodec() encoding.CodecV2 {
	return sharingCodec{encoding.GetCodecV2(protocodec.Name)}
}

// Marshal implements encoding.CodecV2.
func (c sharingCodec) Marshal(v any) (mem.BufferSlice, error) {
	if e, is := v.(*encoded); is {
		return mem.BufferSlice{e.bytes}, nil
	}
	return c.CodecV2.Marshal(v)
}
