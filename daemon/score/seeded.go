package score

import (
	"context"
	"fmt"
	"maps"
	"path/filepath"
	"slices"

	"github.com/ampledger/ampledger/daemon/config"
	"github.com/ampledger/ampledger/daemon/pipeline"
	"github.com/ampledger/ampledger/plugins/driver/simulate"
	"github.com/ampledger/ampledger/plugins/driver/simulate/physics"
	"github.com/ampledger/ampledger/plugins/plugin"
)

// Seeded is a plan whose devices are simulated: what is behind a run is known, and with another seed it is another run of the same.
type Seeded struct {
	plan  Plan
	rigs  map[string]*physics.Rig
	seeds []uint64 // that the devices are configured with
}

// Seeded gives the plan in the caller's process. Its devices must be of the driver simulate and have an end, and its estimator one of
// those that are shipped. An error says what in the configuration is to be changed.
func (p *Plan) Seeded(ctx context.Context) (*Seeded, error) {
	s := &Seeded{plan: *p, rigs: map[string]*physics.Rig{}}
	if e := p.scored.Estimator; e != nil && estimators[e.Plugin.Name] == nil {
		return nil, fmt.Errorf("conductor %s: estimator %s is a process of its own, and seeds are run in one process: only %v can be",
			p.scored.Name, label(e), slices.Sorted(maps.Keys(estimators)))
	}
	s.plan.devices = slices.Clone(p.devices)
	for i := range s.plan.devices {
		if err := s.take(ctx, &s.plan.devices[i]); err != nil {
			return nil, err
		}
	}
	if told := s.oracle(); told != nil {
		s.plan.variants = slices.Insert(slices.Clone(p.variants), 1, variant{Oracle, told})
	}
	return s, nil
}

// take makes a device ready to be run with other seeds: as fast as possible, with its true offsets, its files found.
func (s *Seeded) take(ctx context.Context, d *config.Device) error {
	if d.Driver.Name != "simulate" {
		return fmt.Errorf("device %s: what is read cannot be drawn anew; seeds need devices of the driver simulate", d.Name)
	}
	with := maps.Clone(d.With)
	if with == nil {
		with = map[string]any{}
	}
	with["speed"], with["truth"] = 0, true
	if duty, is := with["duty"].([]any); is {
		with["duty"] = found(duty, s.plan.config.Folder)
	}
	description, err := describe(ctx, simulate.New(), d.Name, with)
	if err != nil {
		return err
	}
	if !description.GetFinite() {
		return fmt.Errorf("device %s: its source has no end, so it cannot be scored: set duration_seconds", d.Name)
	}
	if err := s.checkTruth(d.Name, description); err != nil {
		return err
	}
	settings, err := plugin.NewSettings(with)
	if err != nil {
		return err
	}
	rig, seed, err := simulate.NewRig(settings)
	s.rigs[d.Name], s.seeds, d.With = rig, append(s.seeds, seed), with
	return err
}

// checkTruth looks for the truth before anything is run.
func (s *Seeded) checkTruth(device string, description *plugin.Description) error {
	of := s.plan.truth.channel
	if of.Device != device {
		return nil
	}
	if _, _, err := pipeline.NewInputs(device, description).Find(of.Input); err != nil {
		return fmt.Errorf("truth %s: %w", s.plan.truth.name, err)
	}
	return nil
}

// found makes the paths of a duty's files absolute: those of a plugin process start from the configuration's folder.
func found(duty []any, folder string) (all []any) {
	for _, each := range duty {
		if segment, is := each.(map[string]any); is {
			segment = maps.Clone(segment)
			for _, key := range []string{"file", "levels_file"} {
				if name, given := segment[key].(string); given && !filepath.IsAbs(name) {
					segment[key] = filepath.Join(folder, name)
				}
			}
			each = segment
		}
		all = append(all, each)
	}
	return all
}

// Run runs once, with the sensors of the configuration, each device's own seed and so many more, and takes checkpoints.
func (s *Seeded) Run(ctx context.Context, more uint64) (*Run, error) { return s.run(ctx, more, false) }

// run is one run: of the configuration's sensors with checkpoints, or of some that are drawn, of which only the end is of interest.
func (s *Seeded) run(ctx context.Context, more uint64, drawn bool) (*Run, error) {
	b, err := newBench(&s.plan, s.plan.variants, world{
		device: func(d config.Device, settings settle, to []*pipeline.Conductor) device {
			return &simulated{name: d.Name, with: s.with(d, more, drawn), settings: settings, conductors: to}
		},
		start: startLocal,
	})
	if err != nil {
		return nil, err
	}
	b.checked = !drawn
	return b.run(ctx, s.plan.variants)
}

// place finds a device.
func (s *Seeded) place(device string) int {
	return slices.IndexFunc(s.plan.devices, func(d config.Device) bool { return d.Name == device })
}

// withOf gives a device's settings.
func (s *Seeded) withOf(device string) map[string]any { return s.plan.devices[s.place(device)].With }

// with gives a device's settings with another seed, and its sensors drawn by it.
func (s *Seeded) with(d config.Device, more uint64, drawn bool) map[string]any {
	seed, with := s.seeds[s.place(d.Name)]+more, maps.Clone(d.With)
	if drawn {
		with = sample(with, seed)
	}
	with["seed"] = seed
	return with
}

// FirstSeed is the seed the first run of a study has, of the truth's device.
func (s *Seeded) FirstSeed() uint64 {
	return s.seeds[s.place(s.plan.truth.channel.Device)]
}
