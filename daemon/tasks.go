package daemon

import (
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
)

// tasks are goroutines that end together; a panic in one becomes its error.
type tasks struct {
	group sync.WaitGroup
	mu    sync.Mutex
	err   error
}

// start runs task in a goroutine of its own.
func (t *tasks) start(task func() error) {
	t.group.Go(func() {
		err := guarded(task)
		t.mu.Lock()
		defer t.mu.Unlock()
		t.err = errors.Join(t.err, err)
	})
}

// wait waits for all of them and gives their errors.
func (t *tasks) wait() error {
	t.group.Wait()
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.err
}

func guarded(task func() error) (err error) {
	defer func() {
		if cause := recover(); cause != nil {
			err = fmt.Errorf("panic: %v\n%s", cause, debug.Stack())
		}
	}()
	return task()
}
