package dataset

import (
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"
)

// The Parquet library makes room for whatever a file claims, before it has seen the data. So this
// file checks the claims first: the metadata at the end of a Parquet file, and the head of every
// page that will be read.

// Limits of the metadata. Our choice, so that the library's own types take no more than some tens
// of times the bytes of the metadata in the file, in which a row group has some tens of bytes per
// column.
const (
	leastStruct    = 8      // bytes of a structure, on average
	spareStructs   = 1000   // structures beyond one per leastStruct bytes
	mostColumns    = 10_000 // columns and records in the schema
	deepestColumns = 32     // levels of records in records
)

// checkParquetFooter checks the metadata of a file of the given size. Source: Parquet format, "File
// Format": the metadata, their length in four bytes, and PAR1 are at the end.
func checkParquetFooter(r io.ReaderAt, size int64) error {
	var tail [8]byte
	if size < int64(len(tail)) {
		return errors.New("the file is too short")
	}
	if _, err := r.ReadAt(tail[:], size-int64(len(tail))); err != nil {
		return err
	}
	length := int64(binary.LittleEndian.Uint32(tail[:]))
	if string(tail[4:]) != "PAR1" || length > size-int64(len(tail)) {
		return errThrift
	}
	footer := make([]byte, length)
	if _, err := r.ReadAt(footer, size-int64(len(tail))-length); err != nil {
		return err
	}
	var children []int64 // number of children of every element of the schema, in its order
	groups := 0
	w := thriftWalk{rest: footer, left: int(length)/leastStruct + spareStructs}
	w.begin = func(path []int16) {
		if len(path) == 1 && path[0] == 2 { // FileMetaData.schema
			children = append(children, 0)
		}
		if len(path) == 1 && path[0] == 4 { // FileMetaData.row_groups
			groups++
		}
	}
	w.number = func(path []int16, v int64) {
		// SchemaElement.num_children
		if len(path) == 2 && path[0] == 2 && path[1] == 5 && len(children) > 0 {
			children[len(children)-1] = v
		}
	}
	if err := w.structure(); err != nil {
		return err
	}
	if len(children) > mostColumns || len(children)*groups > int(length) {
		return fmt.Errorf("%d columns in %d row groups are more than the metadata can describe",
			len(children), groups)
	}
	var open []int64 // children still to come, of every record that is not complete
	for _, n := range children {
		if n < 0 || n > int64(len(children)) || len(open) > deepestColumns {
			return errThrift
		}
		if n > 0 {
			open = append(open, n)
			continue
		}
		for len(open) > 0 {
			if open[len(open)-1]--; open[len(open)-1] > 0 {
				break
			}
			open = open[:len(open)-1]
		}
	}
	return nil
}

// pageHead holds the fields of the head of a page that are checked; sizes are in bytes.
type pageHead struct {
	bytes      int64 // of the head itself
	unpacked   int64 // of the content, unpacked
	packed     int64 // of the content in the file
	values     int64 // their number
	levels     int64 // of the levels, which stand unpacked in front of the content
	isUnpacked bool  // the content is not packed
}

// longestHead is the most bytes of the head of a page, whose statistics hold two values. Our
// choice.
const longestHead = 1 << 20

// readPageHead reads a PageHeader, whose fields have the numbers of parquet.thrift.
func readPageHead(r io.ReaderAt, offset, end int64) (pageHead, error) {
	for window := int64(1 << 10); ; window *= 8 {
		var h pageHead
		raw := make([]byte, min(window, end-offset))
		if _, err := r.ReadAt(raw, offset); err != nil && !errors.Is(err, io.EOF) {
			return h, err
		}
		w := thriftWalk{rest: raw, left: spareStructs}
		w.number = func(path []int16, v int64) {
			switch {
			case len(path) == 1 && path[0] == 2:
				h.unpacked = v
			case len(path) == 1 && path[0] == 3:
				h.packed = v
			// number of values of a data page (versions 1 and 2) or a dictionary
			case len(path) == 2 && path[1] == 1 && (path[0] == 5 || path[0] == 7 || path[0] == 8):
				h.values = max(h.values, v)
			// lengths of the levels of a data page of version 2
			case len(path) == 2 && path[0] == 8 && (path[1] == 5 || path[1] == 6):
				h.levels += v
			case len(path) == 2 && path[0] == 8 && path[1] == 7:
				h.isUnpacked = v == 0
			}
		}
		err := w.structure()
		h.bytes = int64(len(raw) - len(w.rest))
		if err == nil || window >= longestHead || window >= end-offset {
			return h, err
		}
	}
}

// checkParquetPages checks the heads of all pages of a column before they are read, and takes the
// memory that they will need off the allowance.
func checkParquetPages(r io.ReaderAt, size int64, f *parquet.File, column int,
	left *allowance) error {
	for _, group := range f.Metadata().RowGroups {
		if column >= len(group.Columns) {
			return errThrift
		}
		meta := &group.Columns[column].MetaData
		offset := meta.DataPageOffset
		if meta.DictionaryPageOffset != 0 {
			offset = meta.DictionaryPageOffset
		}
		end := offset + meta.TotalCompressedSize
		if offset < 0 || meta.TotalCompressedSize < 0 || end > size || end < offset {
			return fmt.Errorf("a column lies outside the file, at bytes %d to %d", offset, end)
		}
		for offset < end {
			h, err := readPageHead(r, offset, end)
			if err != nil {
				return err
			}
			offset += h.bytes
			if h.packed < 0 || h.unpacked < 0 || h.values < 0 || h.levels < 0 ||
				h.levels > h.packed || h.packed > end-offset {
				return errThrift
			}
			const valueBytes = 8 // of a value, and of its levels and its place in a text
			for _, bytes := range []int64{h.unpacked, valueBytes * h.values} {
				if err := left.take(bytes); err != nil {
					return err
				}
			}
			if !h.isUnpacked {
				if err := checkPacked(io.NewSectionReader(r, offset+h.levels, h.packed-h.levels),
					meta.Codec, h.unpacked); err != nil {
					return err
				}
			}
			offset += h.packed
		}
	}
	return nil
}

// checkPacked returns an error if the data of a page unpack to more than its head says.
func checkPacked(packed *io.SectionReader, codec format.CompressionCodec, unpacked int64) error {
	var content io.Reader
	switch codec {
	case format.Uncompressed:
		return nil
	case format.Snappy: // begins with its unpacked length (format_description.txt of snappy)
		var head [binary.MaxVarintLen64]byte
		n, err := packed.ReadAt(head[:min(int64(len(head)), packed.Size())], 0)
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		if length, read := binary.Uvarint(head[:n]); n > 0 &&
			(read <= 0 || length > uint64(unpacked)) {
			return errTooMuch
		}
		return nil
	case format.Gzip:
		z, err := gzip.NewReader(packed)
		if err != nil {
			return err
		}
		content = z
	case format.Zstd:
		z, err := zstd.NewReader(packed, zstd.WithDecoderConcurrency(1),
			zstd.WithDecoderLowmem(true), zstd.WithDecoderMaxWindow(largestWindow))
		if err != nil {
			return err
		}
		defer z.Close()
		content = z
	default:
		return fmt.Errorf("is packed by %v; snappy, zstd and gzip are read", codec)
	}
	n, err := io.Copy(io.Discard, io.LimitReader(content, unpacked+1))
	if err != nil {
		return err
	}
	if n > unpacked {
		return errTooMuch
	}
	return nil
}

// largestWindow is the window size in bytes up to which RFC 8878, 3.1.1.1.2, recommends that every
// decoder supports data.
const largestWindow = 8 << 20

var errTooMuch = errors.New("a page unpacks to more than its head says")
