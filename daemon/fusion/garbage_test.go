package fusion_test

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/ampledger/ampledger/daemon/fusion"
	"github.com/ampledger/ampledger/daemon/scan"
)

// Channels without any error, or with none that is known, are weighted equally; a perfect one takes all beside others.
func TestWhereThereIsNothingToChooseBy(t *testing.T) {
	const absurd = math.MaxInt32
	same := []float64{1, 1}
	for _, c := range []struct {
		name    string
		a, b    fusion.Part
		weight  float64 // of the first
		zeroIs  float64
		noiseIs float64
	}{
		{"both perfect", fusion.Part{}, fusion.Part{}, 0.5, 0, 0},
		{"one perfect", fusion.Part{}, fusion.Part{ZeroAmperes: 1}, 1, 0, 0},
		{"the other perfect", fusion.Part{ZeroAmperes: 1}, fusion.Part{}, 0, 0, 0},
		{"tiny", fusion.Part{ZeroAmperes: 1e-200}, fusion.Part{ZeroAmperes: 1e-200}, 0.5, 1e-200, 0},
		{"not a number", fusion.Part{ZeroAmperes: nan}, fusion.Part{ZeroAmperes: 1}, 0, 1, 0},
		{"neither a number", fusion.Part{ZeroAmperes: nan}, fusion.Part{ZeroAmperes: inf}, 0.5, absurd / math.Sqrt2, 0},
		{"negative", fusion.Part{ZeroAmperes: -1}, fusion.Part{ZeroAmperes: 1}, 0, 1, 0},
		{"noise not a number", fusion.Part{NoiseAmperes: nan}, fusion.Part{NoiseAmperes: 1}, 0, 0, 1},
		{"all errs alike", fusion.Part{Covariances: same}, fusion.Part{Covariances: same}, 0.5, 1, 0},
		{"alike but for rounding", fusion.Part{Covariances: []float64{1, 1 - 1e-15}}, fusion.Part{Covariances: []float64{1 - 1e-15, 1 + 4e-16}},
			0.5, 1, 0},
		{"more than alike", fusion.Part{Covariances: []float64{1, 2}}, fusion.Part{Covariances: []float64{2, 1}}, 0.5, math.Sqrt(1.5), 0},
		{"opposite", fusion.Part{Covariances: []float64{1, -1}}, fusion.Part{Covariances: []float64{-1, 1}}, 0.5, 1, 0},
		{"variance below 0", fusion.Part{ZeroAmperes: 1, Covariances: []float64{-1}}, fusion.Part{ZeroAmperes: 1}, 0.5, math.Sqrt(0.5), 0},
		{"not stated", fusion.Part{ZeroAmperes: 1, Covariances: []float64{nan, nan}}, fusion.Part{ZeroAmperes: 1, Covariances: []float64{inf, nan}},
			0.5, math.Sqrt(0.5), 0},
	} {
		w, r := weights(t, []fusion.Part{c.a, c.b}, 3)
		near(t, c.name+": weight", w[0], c.weight, 1e-9)
		near(t, c.name+": zero", r.ZeroAmperes, c.zeroIs, 1e-9)
		near(t, c.name+": noise", r.NoiseAmperes, c.noiseIs, 1e-9)
	}
}

// figures reads float64s from bytes until there are none; then 0.
type figures []byte

func (f *figures) next() float64 {
	if len(*f) < 8 {
		*f = nil
		return 0
	}
	bits := binary.LittleEndian.Uint64(*f)
	*f = (*f)[8:]
	return math.Float64frombits(bits)
}

func bytesOf(values ...float64) (all []byte) {
	for _, v := range values {
		all = binary.LittleEndian.AppendUint64(all, math.Float64bits(v))
	}
	return all
}

// Whatever the parts are: weights between 0 and 1 that sum up to 1, and uncertainties that are numbers, none below 0.
func FuzzWeigh(f *testing.F) {
	f.Add(uint8(2), bytesOf(0.1, 0.05, 0.001, 50, 1, 0.5, 0.01, 50))
	f.Add(uint8(3), bytesOf(0, 0, 0, 0, nan, nan, nan, nan, inf, inf, inf, inf))
	f.Add(uint8(2), bytesOf(1e308, 1e308, 1e308, -1e308, 5e-324, 5e-324, 5e-324, 0, 1, 1+1e-15, 1+1e-15, 1))
	f.Add(uint8(8), bytesOf(-1, -1, -1, -1))
	f.Fuzz(func(t *testing.T, channels uint8, data []byte) {
		parts, from := make([]fusion.Part, 2+channels%(fusion.MostChannels-1)), figures(data)
		for i := range parts {
			p := &parts[i]
			p.NoiseAmperes, p.ZeroAmperes, p.GainRatio, p.MeanAmperes = from.next(), from.next(), from.next(), from.next()
		}
		for i := range parts {
			for range parts {
				if len(from) > 0 {
					parts[i].Covariances = append(parts[i].Covariances, from.next())
				}
			}
		}
		for used := uint(1); used < 1<<len(parts); used = used*2 + 1 {
			w, stated := weights(t, parts, used)
			checkFigures(t, w, stated)
		}
	})
}

func checkFigures(t *testing.T, w []float64, stated *scan.Readings) {
	t.Helper()
	total := 0.0
	for _, each := range w {
		if !(each >= 0 && each <= 1) {
			t.Fatalf("weights %v", w)
		}
		total += each
	}
	near(t, "sum of the weights", total, 1, 1e-12)
	for _, u := range []float64{stated.NoiseAmperes, stated.ZeroAmperes, stated.GainRatio} {
		if !(u >= 0 && u <= 4*math.MaxInt32) {
			t.Fatalf("stated %+v", stated)
		}
	}
}
