package client

import (
	"testing"

	"google.golang.org/protobuf/proto"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

func frame(channel string, first uint64, count int) *ampledgerv1.StreamReadingsResponse {
	return &ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Frame{
		Frame: &ampledgerv1.Frame{Channel: channel, FirstSequence: first, CurrentAmperes: make([]float64, count)},
	}}
}

func bucket(channel string, first, last uint64, count uint32) *ampledgerv1.StreamReadingsResponse {
	return &ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Bucket{
		Bucket: &ampledgerv1.Bucket{Channel: channel, FirstSequence: first, LastSequence: last, ReadingCount: count - 1, UnusableCount: 1},
	}}
}

func lost(channel string, first, last, count uint64) *ampledgerv1.StreamReadingsResponse {
	return &ampledgerv1.StreamReadingsResponse{Item: &ampledgerv1.StreamReadingsResponse_Lost{
		Lost: &ampledgerv1.Lost{Channel: channel, FirstSequence: first, LastSequence: last, ReadingCount: count},
	}}
}

// TestResumed goes on at the channel that is furthest behind, also if nothing was heard of it yet.
func TestResumed(t *testing.T) {
	for name, row := range map[string]struct {
		items []*ampledgerv1.StreamReadingsResponse
		want  *uint64 // nil = begin as at first
	}{
		"nothing came":       {nil, nil},
		"one is ahead":       {[]*ampledgerv1.StreamReadingsResponse{frame("a", 5, 5), frame("b", 5, 5), frame("a", 10, 5)}, proto.Uint64(10)},
		"the other is ahead": {[]*ampledgerv1.StreamReadingsResponse{frame("b", 5, 5), frame("a", 5, 5), frame("b", 10, 5)}, proto.Uint64(10)},
		"one is not heard":   {[]*ampledgerv1.StreamReadingsResponse{frame("a", 5, 5), frame("a", 10, 5)}, proto.Uint64(5)},
		"readings were lost": {[]*ampledgerv1.StreamReadingsResponse{lost("a", 5, 14, 8), bucket("b", 5, 19, 15)}, proto.Uint64(15)},
	} {
		t.Run(name, func(t *testing.T) {
			request := &ampledgerv1.StreamReadingsRequest{Conductor: "pack", Channels: []string{"a", "b"}, FromOldest: true, MaxRateHertz: 3}
			f := &follower{request: request, channels: request.GetChannels(), next: map[string]uint64{}}
			for _, item := range row.items {
				if f.rest(item) != item {
					t.Errorf("%v is not handed on", item)
				}
			}
			got, err := f.resumed(t.Context())
			want := proto.CloneOf(request)
			want.FromSequence, want.FromOldest = row.want, row.want == nil
			if err != nil || !proto.Equal(got, want) {
				t.Errorf("got %v, %v, want %v", got, err, want)
			}
		})
	}
}

// TestRest hands on what is new of an item: all, nothing, or for one that was had in part what is lost of it.
func TestRest(t *testing.T) {
	for name, row := range map[string]struct {
		item, want *ampledgerv1.StreamReadingsResponse
	}{
		"frame that was had":    {frame("a", 0, 10), nil},
		"frame had in part":     {frame("a", 5, 10), lost("a", 10, 14, 5)},
		"frame behind":          {frame("a", 10, 5), frame("a", 10, 5)},
		"frame behind a hole":   {frame("a", 20, 5), frame("a", 20, 5)},
		"other channel's frame": {frame("b", 0, 5), frame("b", 0, 5)},
		"bucket that was had":   {bucket("a", 3, 9, 7), nil},
		"bucket had in part":    {bucket("a", 3, 12, 10), lost("a", 10, 12, 3)},
		"sparse bucket in part": {bucket("a", 3, 30, 2), lost("a", 10, 30, 2)},
		"loss that was had":     {lost("a", 0, 9, 10), nil},
		"loss had in part":      {lost("a", 0, 19, 20), lost("a", 10, 19, 10)},
		"loss behind":           {lost("a", 10, 19, 7), lost("a", 10, 19, 7)},
	} {
		t.Run(name, func(t *testing.T) {
			f := &follower{next: map[string]uint64{"a": 10}}
			if got := f.rest(row.item); !proto.Equal(got, row.want) {
				t.Errorf("got %v, want %v", got, row.want)
			}
			if s := spanOf(row.item); f.next[s.channel] < s.last+1 || f.next["a"] < 10 {
				t.Errorf("%v is next", f.next)
			}
		})
	}
}
