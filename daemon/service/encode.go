package service

import (
	"slices"

	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/scan"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// encoder turns readings into the bytes of a StreamReadingsResponse. Its message is reused; it belongs to one goroutine at a time.
type encoder struct {
	response ampledgerv1.StreamReadingsResponse
	item     ampledgerv1.StreamReadingsResponse_Frame
	frame    ampledgerv1.Frame
	quality  []uint32
	pool     mem.BufferPool
}

func newEncoder() *encoder {
	e := &encoder{pool: &framePools}
	e.item.Frame = &e.frame
	e.response.Item = &e.item
	return e
}

var marshal = proto.MarshalOptions{UseCachedSize: true}

// encode gives the bytes in a buffer with one reference, the caller's, and how much memory it holds.
func (e *encoder) encode(lane *pipeline.Lane, r *scan.Readings) (bytes mem.Buffer, size int, err error) {
	e.fill(lane, r)
	space := e.pool.Get(proto.Size(&e.response))
	written, err := marshal.MarshalAppend((*space)[:0], &e.response)
	if err != nil {
		e.pool.Put(space)
		return nil, 0, err
	}
	*space = written
	return mem.NewBuffer(space, e.pool), cap(written), nil
}

// fill lets the message share the memory of the readings for the time of the encoding.
func (e *encoder) fill(lane *pipeline.Lane, r *scan.Readings) {
	f := &e.frame
	f.Conductor, f.Channel = lane.Conductor, lane.Name
	f.FirstSequence, f.FirstWallNanos, f.FirstMonotonicNanos = r.Sequence, r.WallAt(0), r.At(0)
	f.PeriodNanos, f.OffsetNanos = r.Period, relative(f.OffsetNanos, r)
	f.CurrentAmperes, f.RawValues = r.Amperes, r.Raw
	e.quality = e.quality[:0]
	if r.Causes != 0 {
		for _, q := range r.Quality {
			e.quality = append(e.quality, uint32(q))
		}
	}
	f.QualityBits = e.quality
	f.NoiseAmperes, f.ZeroUncertaintyAmperes, f.GainUncertaintyRatio = r.NoiseAmperes, r.ZeroAmperes, r.GainRatio
	f.OffsetAmperes, f.OffsetAgeNanos = r.Offset, r.Age
	f.Estimator, f.EstimatorGeneration = r.Estimator, r.Generation
	f.PrecedingCount = lane.Preceding()
}

// relative gives the times of irregular readings after the first one.
func relative(buffer []int64, r *scan.Readings) []int64 {
	if r.Period != 0 {
		return buffer[:0]
	}
	buffer = slices.Grow(buffer[:0], r.Len())
	for k := range r.Amperes {
		buffer = append(buffer, r.At(k)-r.At(0))
	}
	return buffer
}

// decode is the inverse of encode: the frame of a retained message.
func decode(bytes mem.Buffer) (*ampledgerv1.Frame, error) {
	var response ampledgerv1.StreamReadingsResponse
	if err := proto.Unmarshal(bytes.ReadOnlyData(), &response); err != nil {
		return nil, err
	}
	return response.GetFrame(), nil
}
