package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"go.uber.org/zap"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/daemon/pluginhost"
	"github.com/ampledger/ampledger/daemon/service"
	"github.com/ampledger/ampledger/daemon/store"
	"github.com/ampledger/ampledger/daemon/trail"
)

const (
	databaseName   = store.FileName
	openedWithin   = 2 * time.Second // that devices may take before the estimators are started without them
	begunWithin    = time.Second     // that estimators may take before readings go on without them
	answeredWithin = 3 * time.Second // that estimators get to answer what they were given last and to give their state
	flushedWithin  = 10 * time.Second
	servedOutTimes = 2 * time.Second // that subscribers get to take what is left
)

// running is a daemon at work.
type running struct {
	config  *config.Config
	options *Options

	clockStep  time.Duration // by how much the wall clock was set while the daemon was away
	lock       *os.File
	store      *store.Store
	recorder   *store.Recorder
	told       told
	host       *pluginhost.Host
	endHost    func()
	recordings *recordings // nil = nothing is recorded
	trail      *trail.Trail
	waveforms  *service.Waveforms
	listener   net.Listener
	conductors []*pipeline.Conductor
	devices    []*pipeline.Device
	feeds      feeds
	backend    *service.Backend
	server     *service.Server
}

// Run serves until ctx ends, then posts what was counted and ends everything. A device or an estimator that fails does not end it.
func Run(ctx context.Context, c *config.Config, o *Options) (err error) {
	if err := o.CheckShipped(c); err != nil {
		return err
	}
	r := &running{config: c, options: o}
	defer func() { err = errors.Join(err, r.close()) }()
	if err := r.open(ctx); err != nil {
		return err
	}
	return r.run(ctx)
}

// open makes all parts; it starts the guardian of the plugins and nothing else.
func (r *running) open(ctx context.Context) (err error) {
	if err := os.MkdirAll(r.config.State, 0o700); err != nil {
		return fmt.Errorf("state: %w", err)
	}
	if r.lock, err = lockState(r.config.State); err != nil {
		return err
	}
	if r.listener, err = listenUnix(r.config.Listen.Unix); err != nil {
		return err
	}
	if r.store, err = store.Open(filepath.Join(r.config.State, databaseName)); err != nil {
		return err
	}
	opening, err := r.store.BeginOpening(ctx)
	if err != nil {
		return err
	}
	if r.clockStep, err = r.readClockStep(ctx); err != nil {
		return err
	}
	events, posted := service.NewEvents(), service.NewPosted()
	disk := newDiskWatch(r.config, opening)
	r.recorder = store.NewRecorder(r.store, recorderConfig(events, posted, disk, r.options.Log))
	r.backend = &service.Backend{
		Ledger: r.store, Records: r.store, Events: events, Posted: posted, Durable: r.recorder.Flush, Recording: r.recorder.Health, Estimators: r.options.Estimators,
		Candidates: r.config.Candidates,
	}
	to := &sink{hubs: map[string]*service.Hub{}, events: events, recorder: r.recorder, store: r.store, told: &r.told, log: r.options.Log}
	r.openTrail(to)
	disk.tell = to.record
	r.keepWaveforms(to, opening)
	if r.recordings, err = newRecordings(r.config, r.tellRecording(to, opening), r.options.Log.Named("recording")); err != nil {
		return err
	}
	to.recordings = r.recordings
	r.feeds = newFeeds(r.config)
	if r.host, r.endHost, err = r.options.guardedHost(r.config); err != nil {
		return err
	}
	r.conductors, r.devices, err = build(r.config, plan{
		host: r.host, log: r.options.Log, sink: to, sequences: &sequences{r.store, r.recorder}, opening: opening, feeds: r.feeds, records: r.recordings,
		described: r.tellInForce,
	})
	if err != nil {
		return err
	}
	to.feeds = r.feeds.byConductor(r.config)
	r.backend.Devices, r.backend.Feeds = r.devices, r.feeds.list(r.config)
	for i, conductor := range r.conductors {
		r.recordings.prepare(conductor)
		hub := service.NewHub(int(r.config.Retain.Megabytes * (1 << 20)))
		to.hubs[conductor.Name()] = hub
		if err := r.correct(ctx, conductor, to, opening); err != nil {
			return err
		}
		openings, err := r.openings(ctx, conductor)
		if err != nil {
			return err
		}
		if err := r.restore(ctx, conductor, r.config.Conductors[i]); err != nil {
			return err
		}
		r.backend.Conductors = append(r.backend.Conductors, &service.Conductor{Conductor: conductor, Hub: hub, Opening: openings})
	}
	r.server = service.NewServer(r.backend, r.options.Log)
	return r.beginLedger(ctx, opening)
}

// run starts the goroutines, waits for ctx and ends them in the reverse order: devices, estimators, waveforms,
// recorder, services.
func (r *running) run(ctx context.Context) error {
	log := r.options.Log
	recording, recorded := detached(ctx)
	watching, watched := detached(ctx)
	served, unserved := detached(ctx)
	var recorders, watchers, servers tasks
	recorders.start(func() error { return r.recorder.Run(recording) })
	watchers.start(func() error { return r.waveforms.Run(watching) })
	recorders.start(func() error { return r.keepClock(recording) })
	if r.trail != nil {
		recorders.start(func() error { return r.trail.Run(recording) })
	}
	if r.recordings != nil {
		recorders.start(func() error { return r.recordings.recorder.Run(recording) })
	}
	servers.start(func() error { return r.server.Run(served) })
	servers.start(func() error { return r.server.Serve(r.listener) })
	log.Info("serving", zap.String("address", "unix:"+r.config.Listen.Unix))
	if r.options.Ready != nil {
		r.options.Ready("unix:" + r.config.Listen.Unix)
	}

	r.runDevices(ctx)
	r.feeds.stop()
	r.endConductors(ctx)
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), flushedWithin)
	defer cancel()
	watched()
	err := errors.Join(watchers.wait(), r.recorder.Flush(last))
	recorded()
	err = errors.Join(err, recorders.wait(), r.release(last))
	unserved()
	return errors.Join(err, r.stopServing(&servers))
}

// endConductors posts what was counted and ends the estimators, all conductors at once: one whose estimator hangs keeps no other waiting.
func (r *running) endConductors(ctx context.Context) {
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), answeredWithin)
	defer cancel()
	var ending sync.WaitGroup
	for _, c := range r.conductors {
		ending.Go(func() {
			c.Post(last)
			c.Close()
		})
	}
	ending.Wait()
}

// runDevices runs devices and estimators until ctx ends and all of them have ended.
func (r *running) runDevices(ctx context.Context) {
	var opened, running sync.WaitGroup
	begun, all := make(chan struct{}), make(chan struct{})
	for _, d := range r.devices {
		opened.Add(1)
		ready := begun
		if r.feeds.inLockstep(d.Name()) {
			ready = all // however long that takes, or the readings would depend on it
		}
		running.Go(func() {
			release := sync.OnceFunc(opened.Done)
			defer release()
			r.report("device "+d.Name(), guarded(func() error {
				return d.Run(ctx, func() { release(); <-ready })
			}))
		})
	}
	running.Go(func() {
		waitFor(ctx, &opened, openedWithin)
		r.beginEstimators(ctx, begun)
		close(all)
	})
	inStep := r.feeds.byConductor(r.config)
	for _, c := range r.conductors {
		if inStep[c.Name()] != nil {
			continue // an estimator that fails there is not started again: the rig is told
		}
		running.Go(func() { r.report("conductor "+c.Name(), guarded(func() error { return c.Run(ctx) })) })
	}
	<-ctx.Done()
	running.Wait()
}

// report logs what ended a goroutine of the data path before its time.
func (r *running) report(what string, err error) {
	if err != nil {
		r.options.Log.Error("ended before its time", zap.String("what", what), zap.Error(err))
	}
}

// beginEstimators starts each conductor's first estimator and closes begun when all have been started, or failed, or are taking their
// time: readings wait for none of them, and a late one is warmed up with what it missed.
func (r *running) beginEstimators(ctx context.Context, begun chan<- struct{}) {
	var starting sync.WaitGroup
	for i, c := range r.conductors {
		starting.Go(func() { r.beginConductor(ctx, c, r.config.Conductors[i]) })
	}
	waitFor(ctx, &starting, begunWithin)
	close(begun)
	starting.Wait()
}

// beginConductor starts a conductor's first estimator and those in its shadow.
func (r *running) beginConductor(ctx context.Context, c *pipeline.Conductor, of config.Conductor) {
	if of.Estimator != nil {
		if err := c.Begin(ctx, candidate(of.Estimator)); err != nil {
			r.options.Log.Error("estimator did not start; readings are statically compensated", zap.String("conductor", c.Name()), zap.Error(err))
		}
	}
	for _, s := range of.Shadows {
		if err := c.BeginShadow(ctx, s.Name, shadowOf(s)); err != nil {
			r.options.Log.Error("estimator in the shadow did not start", zap.String("conductor", c.Name()), zap.String("shadow", s.Name), zap.Error(err))
		}
	}
}

// waitFor waits for a group, but no longer than a limit or ctx.
func waitFor(ctx context.Context, group *sync.WaitGroup, limit time.Duration) {
	done := make(chan struct{})
	go func() {
		group.Wait()
		close(done)
	}()
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case <-done:
	case <-timer.C:
	case <-ctx.Done():
	}
}

// release gives the sequences back that were held and not used.
func (r *running) release(ctx context.Context) (err error) {
	for _, d := range r.devices {
		if next, begun := d.NextSequence(); begun {
			err = errors.Join(err, r.store.ReleaseSequences(ctx, d.Name(), next))
		}
	}
	return err
}

// stopServing ends the streams after what is left and then the server.
func (r *running) stopServing(servers *tasks) error {
	for _, c := range r.backend.Conductors {
		c.Hub.Close()
	}
	r.backend.Events.Close()
	r.backend.Posted.Close()
	r.backend.Estimates.Close()
	timer := time.AfterFunc(servedOutTimes, r.server.Stop)
	defer timer.Stop()
	r.server.GracefulStop()
	return servers.wait()
}

// close ends what open made.
func (r *running) close() (err error) {
	if r.server != nil {
		r.server.Stop()
	}
	if r.listener != nil {
		if closing := r.listener.Close(); !errors.Is(closing, net.ErrClosed) {
			err = errors.Join(err, closing)
		}
	}
	if r.trail != nil {
		err = errors.Join(err, r.trail.Close())
	}
	if r.endHost != nil {
		r.endHost()
	}
	if r.store != nil {
		err = errors.Join(err, r.store.Close())
	}
	if r.lock != nil {
		err = errors.Join(err, r.lock.Close())
	}
	return err
}

// detached gives a context that does not end with ctx but by its own cancel.
func detached(ctx context.Context) (context.Context, context.CancelFunc) {
	return context.WithCancel(context.WithoutCancel(ctx))
}
