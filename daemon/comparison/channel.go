package comparison

import (
	"math"

	"github.com/ampledger/ampledger/daemon/metrology/spread"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// channels gathers the comparisons of the channels, in the order in which they are first met.
type channels []*channel

// channel gathers one.
type channel struct {
	*ampledgerv1.ChannelComparison
	differences spread.Spread
	change      float64 // own charge less the other's, at the newest pair
	era         eras
	innovations spread.Spread // their squares
	normalised  spread.Spread // those over their variances
}

// eras tells which two estimators a pair of records is of.
type eras struct {
	opening    uint64
	own, other uint64 // generations
}

// add takes a record in, beside being what the other said; nil = it said nothing.
func (c *channels) add(r, beside *Record) {
	for _, said := range r.GetChannels() {
		var against *ampledgerv1.ChannelRecord
		for _, of := range beside.GetChannels() {
			if of.GetChannel() == said.GetChannel() {
				against = of
			}
		}
		own := c.of(said.GetChannel())
		own.innovate(said)
		if against != nil {
			own.pair(r, beside, said, against)
		}
	}
}

func (c *channels) of(name string) *channel {
	for _, each := range *c {
		if each.Channel == name {
			return each
		}
	}
	made := &channel{ChannelComparison: &ampledgerv1.ChannelComparison{Channel: name}}
	*c = append(*c, made)
	return made
}

func (c *channel) innovate(said *ampledgerv1.ChannelRecord) {
	if u := said.GetInnovationUncertaintyAmperes(); said.InnovationAmperes != nil && u > 0 {
		off := said.GetInnovationAmperes()
		c.innovations.Add(off * off)
		c.normalised.Add(off / u * off / u)
	}
}

func (c *channel) pair(r, beside *Record, said, against *ampledgerv1.ChannelRecord) {
	now := eras{r.GetOpeningSequence(), r.GetGeneration(), beside.GetGeneration()}
	change := said.GetChargeChangeCoulombs() - against.GetChargeChangeCoulombs()
	if c.SummaryCount == 0 {
		c.FromWallNanos = r.GetWallNanos()
	} else if now == c.era {
		c.ChargeDifferenceCoulombs += change - c.change
	}
	c.SummaryCount++
	c.change, c.era, c.ToWallNanos = change, now, r.GetWallNanos()
	c.OffsetAmperes, c.OffsetUncertaintyAmperes = said.GetOffsetAmperes(), said.GetStandardUncertaintyAmperes()
	c.ChargeUncertaintyCoulombs = said.GetChargeUncertaintyCoulombs()
	c.differences.Add(said.GetOffsetAmperes() - against.GetOffsetAmperes())
}

// comparisons gives the channels on which anything could be compared.
func (c channels) comparisons() (all []*ampledgerv1.ChannelComparison) {
	for _, each := range c {
		if each.SummaryCount == 0 {
			continue
		}
		each.MeanDifferenceAmperes, each.DifferenceScatterAmperes = each.differences.Mean, each.differences.Deviation()
		each.InnovationCount = uint64(each.innovations.Count)
		each.InnovationRmsAmperes = math.Sqrt(each.innovations.Mean)
		each.InnovationNormalisedSquareRatio = each.normalised.Mean
		all = append(all, each.ChannelComparison)
	}
	return all
}
