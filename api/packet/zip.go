package packet

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"math"
)

// File is one file of a packet.
type File struct {
	Name string
	Data []byte
}

// stored is a file as the zip says it is.
type stored struct {
	File
	crc uint32
}

// Sizes of the records of a zip without their names, and what they begin with
// (APPNOTE.TXT, 4.3.7, 4.3.12 and 4.3.16).
const (
	localSize, centralSize, endSize = 30, 46, 22
	localMark, centralMark, endMark = 0x04034b50, 0x02014b50, 0x06054b50

	zipVersion = 20
	utf8Names  = 1 << 11
	noDate     = 1<<5 | 1 // the first day that a zip knows: it has no date
)

func localHeader(f stored) []byte {
	b := binary.LittleEndian.AppendUint32(nil, localMark)
	b = common(b, f)
	return append(b, f.Name...)
}

// common is what both headers of a file say.
func common(b []byte, f stored) []byte {
	for _, v := range []uint16{zipVersion, utf8Names, 0, 0, noDate} { // stored as it is; midnight
		b = binary.LittleEndian.AppendUint16(b, v)
	}
	for _, v := range []uint32{f.crc, uint32(len(f.Data)), uint32(len(f.Data))} {
		b = binary.LittleEndian.AppendUint32(b, v)
	}
	b = binary.LittleEndian.AppendUint16(b, uint16(len(f.Name)))
	return binary.LittleEndian.AppendUint16(b, 0) // nothing extra
}

func centralHeader(f stored, at int) []byte {
	b := binary.LittleEndian.AppendUint32(nil, centralMark)
	b = binary.LittleEndian.AppendUint16(b, zipVersion)
	b = common(b, f)
	b = append(b, make([]byte, 2+2+2+4)...) // no comment, first disk, no attributes
	b = binary.LittleEndian.AppendUint32(b, uint32(at))
	return append(b, f.Name...)
}

func endRecord(files, size, at int) []byte {
	b := binary.LittleEndian.AppendUint32(nil, endMark)
	b = append(b, 0, 0, 0, 0)
	b = binary.LittleEndian.AppendUint16(b, uint16(files))
	b = binary.LittleEndian.AppendUint16(b, uint16(files))
	b = binary.LittleEndian.AppendUint32(b, uint32(size))
	b = binary.LittleEndian.AppendUint32(b, uint32(at))
	return append(b, 0, 0)
}

// writeZip writes files in their order.
func writeZip(w io.Writer, files []File) error {
	total := endSize
	for _, f := range files {
		total += localSize + centralSize + 2*len(f.Name) + len(f.Data)
	}
	if len(files) >= math.MaxUint16 || total >= math.MaxUint32 {
		return fmt.Errorf("a packet of %d bytes in %d files is larger than a zip can be", total, len(files))
	}
	var directory []byte
	at := 0
	put := func(b []byte) error {
		at += len(b)
		_, err := w.Write(b)
		return err
	}
	for _, f := range files {
		s := stored{f, crc32.ChecksumIEEE(f.Data)}
		directory = append(directory, centralHeader(s, at)...)
		if err := put(localHeader(s)); err != nil {
			return err
		}
		if err := put(f.Data); err != nil {
			return err
		}
	}
	begin := at
	if err := put(directory); err != nil {
		return err
	}
	return put(endRecord(len(files), len(directory), begin))
}

// readZip is the twin of writeZip: it takes only what writeZip would write,
// except that the checksums are for the caller to compare. The error names what
// is wrong; the files before it are returned.
func readZip(b []byte) ([]stored, error) {
	if len(b) < endSize {
		return nil, fmt.Errorf("zip: it is too short")
	}
	end := b[len(b)-endSize:]
	count, size, begin := int(binary.LittleEndian.Uint16(end[10:])), int(binary.LittleEndian.Uint32(end[12:])), int(binary.LittleEndian.Uint32(end[16:]))
	if !bytes.Equal(end, endRecord(count, size, begin)) || begin+size != len(b)-endSize {
		return nil, fmt.Errorf("zip: its end record is not as it would be written, or something was cut off or added")
	}
	var files []stored
	at, directory := 0, b[begin:begin+size]
	for i := range count {
		f, rest, err := readFile(b[:begin], directory, at)
		if err != nil {
			return files, fmt.Errorf("zip: %w (file %d, at byte %d)", err, i+1, at)
		}
		files, directory = append(files, f), rest
		at += localSize + len(f.Name) + len(f.Data)
	}
	if len(directory) > 0 || at != begin {
		return files, fmt.Errorf("zip: there is something between the files and their directory")
	}
	return files, nil
}

// readFile reads the file at a place by the first entry of the directory, and
// returns the rest of the directory.
func readFile(b, directory []byte, at int) (f stored, rest []byte, err error) {
	if len(directory) < centralSize {
		return f, nil, fmt.Errorf("the directory is too short")
	}
	name, size := int(binary.LittleEndian.Uint16(directory[28:])), int(binary.LittleEndian.Uint32(directory[20:]))
	if centralSize+name > len(directory) {
		return f, nil, fmt.Errorf("the directory is too short")
	}
	f.Name, f.crc = string(directory[centralSize:centralSize+name]), binary.LittleEndian.Uint32(directory[16:])
	from := at + localSize + name
	if from+size > len(b) {
		return f, nil, fmt.Errorf("the directory entry of %s is not as it would be written", f.Name)
	}
	f.Data = b[from : from+size : from+size]
	if !bytes.Equal(directory[:centralSize+name], centralHeader(f, at)) {
		return f, nil, fmt.Errorf("the directory entry of %s is not as it would be written", f.Name)
	}
	if !bytes.Equal(b[at:from], localHeader(f)) {
		return f, nil, fmt.Errorf("the header of %s is not as it would be written", f.Name)
	}
	return f, directory[centralSize+name:], nil
}
