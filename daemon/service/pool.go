package service

import (
	"math/bits"
	"sync"

	"google.golang.org/grpc/mem"
)

// framePool keeps buffers for encoded frames, four sizes to each power of two, so that a retained frame takes at most a quarter more
// memory than its bytes. gRPC's own pool goes from 32 KiB to 1 MiB in one step and clears what it gives.
type framePool struct{ sizes [256]sync.Pool }

var _ mem.BufferPool = (*framePool)(nil)

var framePools framePool

// sizeClass gives the least size that holds n bytes, n > 0.
func sizeClass(n int) (index, size int) {
	exponent := max(3, bits.Len(uint(n-1)))
	step := 1 << (exponent - 3)
	size = (n + step - 1) &^ (step - 1)
	return 4*exponent + size/step - 5, size
}

// Get implements mem.BufferPool.
func (p *framePool) Get(length int) *[]byte {
	index, size := sizeClass(max(length, 5))
	if buffer, ok := p.sizes[index].Get().(*[]byte); ok {
		*buffer = (*buffer)[:length]
		return buffer
	}
	buffer := make([]byte, length, size)
	return &buffer
}

// Put implements mem.BufferPool. A buffer that did not come from Get is left to the garbage collector.
func (p *framePool) Put(buffer *[]byte) {
	if cap(*buffer) < 5 {
		return
	}
	if index, size := sizeClass(cap(*buffer)); size == cap(*buffer) {
		p.sizes[index].Put(buffer)
	}
}
