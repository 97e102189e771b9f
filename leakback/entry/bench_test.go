package entry

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
)

// batch is a file of that many readings: invented tests of six cylinders.
func batch(rows int) []byte {
	var b bytes.Buffer
	b.WriteString("test_id,engine,condition,cylinder,volume_ml,interval_s,rail_pressure_bar\n")
	for i := range rows {
		fmt.Fprintf(&b, "NM-%d,Northmoor Six-90,idle,%d,%d.5,60,350\n", i/6, i%6+1, 20+i%7)
	}
	return b.Bytes()
}

func BenchmarkBatch(b *testing.B) {
	data := batch(10_000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		rd := NewReader(bytes.NewReader(data), "batch.csv", "batch", NoDefaults())
		tests := 0
		for {
			_, err := rd.Next()
			if err == io.EOF {
				break
			}
			require.NoError(b, err)
			tests++
		}
		require.Equal(b, 1667, tests)
	}
}

// BenchmarkCSV reads the same file and does nothing with it: the least that
// BenchmarkBatch can take.
func BenchmarkCSV(b *testing.B) {
	data := batch(10_000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		rd := csv.NewReader(bytes.NewReader(data))
		rd.ReuseRecord = true
		for {
			if _, err := rd.Read(); err == io.EOF {
				break
			}
		}
	}
}
