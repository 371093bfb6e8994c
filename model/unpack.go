package model

const (
	// unpackFactor is the most unpacked bytes per packed one. Our choice: it is far above the
	// factor of recordings and trained weights (columns of noise shrink to a quarter, columns of
	// one value to a thousandth, and a recording has both), and far below deflate's 1032 (zlib,
	// "Maximum Compression Factor").
	unpackFactor = 200
	// unpackSpare is the number of bytes beyond that. Our choice: small files may have any factor.
	unpackSpare = 16 << 20
)

// MaxUnpacked returns the number of bytes that a packed file of the given size in bytes may unpack
// to, 200 times its size plus 16 MiB. Readers refuse larger claims, so that no small file fills the
// memory.
func MaxUnpacked(size int64) int64 {
	if size > 1<<40 { // no product below overflows
		size = 1 << 40
	}
	return unpackFactor*size + unpackSpare
}
