package model

const (
	// unpackFactor is far above what packing makes of recordings and trained weights (columns of
	// noise shrink to a quarter, those that hold one value throughout to a thousandth, and a
	// recording has both), and far below deflate's 1032 (zlib, "Maximum Compression Factor").
	unpackFactor = 200
	unpackSpare  = 16 << 20 // bytes; small files may be packed as well as they like
)

// MaxUnpacked is how many bytes a packed file of the given size in bytes may unpack to, 200 times
// its size plus 16 MiB. What claims more is refused, so that no small file fills the memory.
func MaxUnpacked(size int64) int64 {
	if size > 1<<40 { // no product below overflows
		size = 1 << 40
	}
	return unpackFactor*size + unpackSpare
}
