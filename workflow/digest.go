package workflow

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"math"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/reading"
)

// digester hashes everything that the verdicts of a trace run rest on, so that
// two runs of the same evidence can be told from two of different evidence.
type digester struct {
	h   hash.Hash
	buf []byte // readings that are not hashed yet: a call for each would cost more than the hash
}

const digestBuffer = 32 << 10

func newDigester() *digester { return &digester{sha256.New(), make([]byte, 0, digestBuffer)} }

func (d *digester) flush() {
	d.h.Write(d.buf)
	d.buf = d.buf[:0]
}

func (d *digester) add(values ...any) error {
	d.flush()
	for _, v := range values {
		if err := json.MarshalWrite(d.h, v, json.Deterministic(true)); err != nil {
			return fmt.Errorf("input digest: %w", err)
		}
	}
	return nil
}

func (d *digester) reading(r reading.Taken) {
	if len(d.buf) > digestBuffer-readingSize {
		d.flush()
	}
	d.buf = binary.BigEndian.AppendUint64(d.buf, uint64(r.At))
	d.buf = binary.BigEndian.AppendUint64(d.buf, math.Float64bits(r.Value))
	d.buf = binary.BigEndian.AppendUint64(d.buf, uint64(r.Lot))
	d.buf = binary.BigEndian.AppendUint32(d.buf, uint32(r.Context))
}

const readingSize = 28

func (d *digester) sum() []byte {
	d.flush()
	return d.h.Sum(nil)
}
