package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"slices"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

const selectBody = "SELECT body FROM commissioning WHERE record_sequence = ?"

// restsOn gives the records that a record names, in the order of their places, each once: those before it alone, for an applied one may name itself.
func restsOn(record *ampledgerv1.CommissioningRecord, before uint64) []uint64 {
	named := []uint64{
		record.GetRefersToSequence(), record.GetZero().GetInForceSequence(), record.GetDrift().GetInForceSequence(),
		record.GetPoint().GetInForceSequence(), record.GetCalibration().GetInForceSequence(), record.GetCalibration().GetShift().GetPreviousSequence(),
	}
	named = append(named, record.GetDrift().GetZeroSequence()...)
	named = append(named, record.GetCalibration().GetPointSequence()...)
	for _, change := range []*ampledgerv1.Change{record.GetApplied(), record.GetReverted()} {
		named = append(named, change.GetInForceBeforeSequence(), change.GetInForceAfterSequence())
	}
	slices.Sort(named)
	return slices.DeleteFunc(slices.Compact(named), func(at uint64) bool { return at == 0 || at >= before })
}

// sumsOf gives the sums of records as they are stored; that of a lost one is empty.
func sumsOf(ctx context.Context, from source, records []uint64) (sums [][]byte, err error) {
	for _, at := range records {
		var body, sum []byte
		if err := from.QueryRowContext(ctx, selectBody, clip(at)).Scan(&body); err != nil {
			return nil, err
		}
		if len(body) > 0 {
			of := sha256.Sum256(body)
			sum = of[:]
		}
		sums = append(sums, sum)
	}
	return sums, nil
}

// restsAsItWas holds what a record says of those that it rests on against the sums of all; nil = that one is lost, and nothing can be said. A record
// that says nothing is of before any did: its own sum would tell if that had been taken out.
func restsAsItWas(record *ampledgerv1.CommissioningRecord, sums map[uint64][]byte) bool {
	said, on := record.GetRestsOnSha256(), restsOn(record, record.GetRecordSequence())
	if len(said) == 0 {
		return true
	}
	if len(said) != len(on) {
		return false
	}
	for i, at := range on {
		if sum, has := sums[at]; !has || sum != nil && !bytes.Equal(sum, said[i]) {
			return false
		}
	}
	return true
}
