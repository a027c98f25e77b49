package query

import (
	"context"
	"errors"
	"fmt"
	"image/color"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"
	"gonum.org/v1/plot/vg/draw"

	"github.com/ampledger/ampledger/client"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// The colours of the estimators, the one in force first; they come again if there are more.
var estimatorColors = []color.Color{
	liveColor, compareColor, fitColor, color.RGBA{R: 44, G: 140, B: 44, A: 255}, color.RGBA{R: 148, G: 103, B: 189, A: 255}, color.RGBA{R: 140, G: 86, B: 75, A: 255},
}

// comparisonPicture gathers what was said on one channel.
type comparisonPicture struct {
	channel string
	from    int64
	order   []string
	offset  map[string]*series // by shadow, in amperes
	charge  map[string]*series // what net would have been more since its first record, in ampere-hours
	first   map[string]*chargeBase
}

// chargeBase is from where the charge of an estimator counts.
type chargeBase struct {
	opening, generation uint64
	change, before      float64 // coulombs
}

// drawComparison draws above the offsets of a channel and below what each estimator would have counted more.
func drawComparison(ctx context.Context, c *cobra.Command, daemon *client.Client, request *ampledgerv1.CompareEstimatorsRequest, flags compareFlags) error {
	from, to := int64(0), int64(math.MaxInt64) // with an end, so that the stream ends
	if request.FromWallNanos != nil {
		from = request.GetFromWallNanos()
	}
	if request.ToWallNanos != nil {
		to = request.GetToWallNanos()
	}
	p := &comparisonPicture{channel: flags.channel, offset: map[string]*series{}, charge: map[string]*series{}, first: map[string]*chargeBase{}}
	if err := p.gather(ctx, daemon, &ampledgerv1.StreamEstimatesRequest{Conductor: request.GetConductor(), FromWallNanos: &from, ToWallNanos: &to}); err != nil {
		return err
	}
	if len(p.order) == 0 {
		return errors.New("--plot: nothing is recorded of that channel in that time")
	}
	return p.draw(c, flags.plot)
}

func (p *comparisonPicture) gather(ctx context.Context, daemon *client.Client, request *ampledgerv1.StreamEstimatesRequest) error {
	stream, err := daemon.Estimators.StreamEstimates(ctx, request)
	if err != nil {
		return err
	}
	for {
		item, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		p.take(item.GetRecord())
	}
}

func (p *comparisonPicture) take(r *ampledgerv1.EstimateRecord) {
	for _, of := range r.GetChannels() {
		if p.channel == "" {
			p.channel = of.GetChannel()
		}
		if of.GetChannel() == p.channel {
			p.add(r, of)
		}
	}
}

func (p *comparisonPicture) add(r *ampledgerv1.EstimateRecord, of *ampledgerv1.ChannelRecord) {
	name := r.GetShadow()
	base := p.first[name]
	if base == nil {
		base = &chargeBase{opening: r.GetOpeningSequence(), generation: r.GetGeneration(), change: of.GetChargeChangeCoulombs()}
		p.order, p.first[name], p.offset[name], p.charge[name] = append(p.order, name), base, new(series), new(series)
	}
	if p.from == 0 {
		p.from = r.GetWallNanos()
	}
	if base.opening != r.GetOpeningSequence() || base.generation != r.GetGeneration() { // it began anew: what it counts goes on from where it was
		charge := p.charge[name].points
		*base = chargeBase{r.GetOpeningSequence(), r.GetGeneration(), of.GetChargeChangeCoulombs(), charge[len(charge)-1].Y * coulombsPerAmpereHour}
	}
	hours := float64(r.GetWallNanos()-p.from) / 3600e9
	p.offset[name].add(hours, of.GetOffsetAmperes(), intervalFactor*of.GetStandardUncertaintyAmperes())
	p.charge[name].add(hours, (base.before+of.GetChargeChangeCoulombs()-base.change)/coulombsPerAmpereHour, 0)
}

func (p *comparisonPicture) draw(c *cobra.Command, name string) error {
	above, below := panel("", "offset, A"), panel("time since "+time.Unix(0, p.from).UTC().Format(time.RFC3339)+", h", "net charge more, Ah")
	above.Title.Text = "What estimators say of " + p.channel
	var failure error
	if inForce := p.offset[""]; inForce != nil {
		failure = inForce.band(above, "95 % interval in force")
	}
	for i, shadow := range p.order {
		label, shade := shadow, estimatorColors[i%len(estimatorColors)]
		if shadow == "" {
			label = "in force"
		}
		failure = errors.Join(failure, p.offset[shadow].line(above, label, shade, 1.2), p.charge[shadow].line(below, label, shade, 1.2))
	}
	image, err := draw.NewFormattedCanvas(plotWidth, scoreHeight, plotFormat(name))
	if err = errors.Join(failure, err); err != nil {
		return err
	}
	paintPanels(draw.New(image), headroom(above), headroom(below))
	to, err := openOutput(c, name)
	if err != nil {
		return fmt.Errorf("--plot: %w", err)
	}
	_, err = image.WriteTo(to)
	return errors.Join(err, to.close())
}
