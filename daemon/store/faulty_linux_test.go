package store_test

import (
	"database/sql"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"unsafe"

	sqlite3 "modernc.org/sqlite/lib"
)

// fault is what the file layer below SQLite does wrong; the zero value does all right.
type fault struct {
	write int32 // result of each write; 0 = it works
	half  bool  // of what is to be written, half is
	sync  int32 // result of each fsync
}

// current is the fault of all files that SQLite has open in this process.
var current atomic.Pointer[fault]

// break1 lets the disk fail from here on, until mend or the end of the test.
func break1(t *testing.T, f fault) (mend func()) {
	t.Helper()
	interpose(t)
	current.Store(&f)
	mend = func() { current.Store(&fault{}) }
	t.Cleanup(mend)
	return mend
}

// methods are a file's methods with ours in the place of some, and where the real ones are.
type methods struct {
	sqlite3.Tsqlite3_io_methods
	real uintptr
}

// The functions below have the types of SQLite's file layer (sqlite.org/c3ref/io_methods.html), with a pointer for the thread of the
// translated C, which is only passed on.
type (
	openFunction  = func(thread unsafe.Pointer, layer, name, file uintptr, flags int32, out uintptr) int32
	writeFunction = func(thread unsafe.Pointer, file, data uintptr, length int32, at int64) int32
	syncFunction  = func(thread unsafe.Pointer, file uintptr, flags int32) int32
)

var (
	realOpen uintptr
	patched  = struct {
		sync.Mutex
		of map[uintptr]*methods // by the real methods' address
	}{of: map[uintptr]*methods{}}
)

// interpose puts our functions between SQLite and the operating system, once; files that are open already stay as they are.
var interposed sync.Once

func interpose(t *testing.T) {
	t.Helper()
	interposed.Do(func() {
		current.Store(&fault{})
		db := must(sql.Open("sqlite", ":memory:"))(t) // lets SQLite set itself up
		defer db.Close()
		must(db.Exec("SELECT 1"))(t)
		layer := at1[sqlite3.Tsqlite3_vfs](sqlite3.Xsqlite3_vfs_find(threadOf(sqlite3.Xsqlite3_vfs_find), 0))
		realOpen = layer.FxOpen
		*(*openFunction)(unsafe.Pointer(&layer.FxOpen)) = faultyOpen
	})
}

// threadOf gives a thread of the translated C, whose type is in a package that is not ours to import. It is good for taking a lock.
func threadOf[T any](func(*T, uintptr) uintptr) *T { return new(T) }

// at1 gives what stands at an address outside of Go's memory.
func at1[T any](address uintptr) *T { return *(**T)(unsafe.Pointer(&address)) }

// function makes a function of its address.
func function[F any](address uintptr) F { return *(*F)(unsafe.Pointer(&struct{ uintptr }{address})) }

func faultyOpen(thread unsafe.Pointer, layer, name, file uintptr, flags int32, out uintptr) int32 {
	code := function[openFunction](realOpen)(thread, layer, name, file, flags, out)
	if of := at1[sqlite3.Tsqlite3_file](file); code == sqlite3.SQLITE_OK && of.FpMethods != 0 {
		of.FpMethods = patchedMethods(of.FpMethods)
	}
	return code
}

// patchedMethods gives our methods for the real ones, in memory of the kind that C has.
func patchedMethods(real uintptr) uintptr {
	patched.Lock()
	defer patched.Unlock()
	if patched.of[real] == nil {
		memory, err := syscall.Mmap(-1, 0, int(unsafe.Sizeof(methods{})), syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
		if err != nil {
			return real
		}
		made := (*methods)(unsafe.Pointer(&memory[0]))
		*made = methods{*at1[sqlite3.Tsqlite3_io_methods](real), real}
		*(*writeFunction)(unsafe.Pointer(&made.FxWrite)) = faultyWrite
		*(*syncFunction)(unsafe.Pointer(&made.FxSync)) = faultySync
		patched.of[real] = made
	}
	return uintptr(unsafe.Pointer(patched.of[real]))
}

// realOf gives the real methods of a file.
func realOf(file uintptr) *sqlite3.Tsqlite3_io_methods {
	return at1[sqlite3.Tsqlite3_io_methods](at1[methods](at1[sqlite3.Tsqlite3_file](file).FpMethods).real)
}

func faultyWrite(thread unsafe.Pointer, file, data uintptr, length int32, at int64) int32 {
	f, write := current.Load(), function[writeFunction](realOf(file).FxWrite)
	if f.write == 0 {
		return write(thread, file, data, length, at)
	}
	if f.half {
		_ = write(thread, file, data, length/2, at)
	}
	return f.write
}

func faultySync(thread unsafe.Pointer, file uintptr, flags int32) int32 {
	if f := current.Load(); f.sync != 0 {
		return f.sync
	}
	return function[syncFunction](realOf(file).FxSync)(thread, file, flags)
}
