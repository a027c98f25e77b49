package service

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"slices"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
)

// question stands for a ledger and what is asked of it: a page token is good for one of them only.
type question [16]byte

// question gives the sum over the ledger's identity and a request, its kind and all of it but for its paging, which the caller takes out.
func (b *Backend) question(ctx context.Context, asked proto.Message) (question, error) {
	identity, err := b.Ledger.Identity(ctx)
	if err != nil {
		return question{}, statusOf(err)
	}
	encoded, err := proto.MarshalOptions{Deterministic: true}.Marshal(asked)
	if err != nil {
		return question{}, statusOf(err)
	}
	kind := string(proto.MessageName(asked)) + "\x00"
	sum := sha256.Sum256(slices.Concat(identity[:], []byte(kind), encoded))
	return question(sum[:len(question{})]), nil
}

// token names the place that the next page begins behind: the question, then the sequence, big-endian, in base64.
func (q question) token(after uint64) string {
	return base64.RawURLEncoding.EncodeToString(binary.BigEndian.AppendUint64(q[:], after))
}

// after reads a token; an empty one is the beginning.
func (q question) after(token string) (uint64, error) {
	if token == "" {
		return 0, nil
	}
	decoded, err := base64.RawURLEncoding.DecodeString(token)
	if err != nil || len(decoded) != len(q)+8 || !bytes.HasPrefix(decoded, q[:]) {
		return 0, refuse(codes.InvalidArgument, "page_token", "PAGE_TOKEN_INVALID",
			"page_token "+quote(token)+" is of another ledger, or of a request that asked for something else")
	}
	return binary.BigEndian.Uint64(decoded[len(q):]), nil
}
