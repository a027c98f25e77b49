package comparison

import (
	"github.com/ampledger/ampledger/daemon/metrology/spread"
	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// outputs gathers the comparisons of the derived quantities, in the order in which they are first met.
type outputs []*output

type output struct {
	newest      *ampledgerv1.DerivedValue
	differences spread.Spread
}

func (o *outputs) add(r, beside *Record) {
	for _, said := range r.GetOutputs() {
		own := o.of(said.GetName())
		own.newest = said
		for _, against := range beside.GetOutputs() {
			if against.GetName() == said.GetName() && against.GetUnit() == said.GetUnit() {
				own.differences.Add(said.GetValue() - against.GetValue())
			}
		}
	}
}

func (o *outputs) of(name string) *output {
	for _, each := range *o {
		if each.newest.GetName() == name {
			return each
		}
	}
	made := &output{}
	*o = append(*o, made)
	return made
}

func (o outputs) comparisons() (all []*ampledgerv1.DerivedComparison) {
	for _, each := range o {
		all = append(all, &ampledgerv1.DerivedComparison{
			Newest: each.newest, SummaryCount: uint64(each.differences.Count), MeanDifferenceValue: each.differences.Mean,
		})
	}
	return all
}
