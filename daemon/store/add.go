package store

// Add adds what was counted beside t. The caller knows that the sums fit: a balance and one run of the daemon do.
func (t *Totals) Add(more Totals) {
	to, from := t.fields(), more.fields()
	for i := range to {
		switch sum := to[i].(type) {
		case *int64:
			*sum += *from[i].(*int64)
		case *uint64:
			*sum += *from[i].(*uint64)
		case *float64:
			*sum += *from[i].(*float64)
		}
	}
}
