package layout

import "testing"

// BenchmarkDecode reads four channels of 24 bits out of scans with a time stamp, beside a copy of the same bytes.
func BenchmarkDecode(b *testing.B) {
	const scans = 1000
	var fields []Field
	for i := range 4 {
		fields = append(fields, field(b, i, "be:s24/32>>8"))
	}
	fields = append(fields, field(b, 4, "le:s64/64>>0"))
	size, err := Arrange(fields)
	if err != nil {
		b.Fatal(err)
	}
	block, times, codes := make([]byte, scans*size), make([]int64, scans), make([]int32, scans)
	b.Run("decode", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			fields[4].Int64s(times, block, size)
			for i := range 4 {
				fields[i].Codes(codes, block, size, 0)
			}
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*scans), "ns/scan")
	})
	b.Run("copy", func(b *testing.B) {
		to := make([]byte, len(block))
		for b.Loop() {
			copy(to, block)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*scans), "ns/scan")
	})
}
