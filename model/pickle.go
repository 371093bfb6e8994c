package model

import (
	"archive/zip"
	"io"
	"path"
)

const pickleMessage = "pickle files can run code when loaded"

// pickleHint says how to save the weights of a pickled model.
const pickleHint = `save the weights as safetensors instead:
    from safetensors.torch import save_file
    save_file(model.state_dict(), "model.safetensors")`

// pickleExtensions are the file name extensions that pickled models usually have (common practice,
// no source).
var pickleExtensions = []string{".pt", ".pth", ".pkl", ".pickle", ".bin", ".ckpt"}

// refusePickle returns [ErrUnsupported] if the content is a pickle or a zip archive with one,
// whatever the file's name.
func refusePickle(r io.ReaderAt, size int64, at place) error {
	var head [9]byte
	if err := at.readAt(r, head[:min(size, int64(len(head)))], 0); err != nil {
		return err
	}
	// A pickle starts with opcode 0x80 and its protocol, 2 to 5 (Python documentation, module
	// pickletools). The length of a safetensors header can have the same two bytes, but then its
	// JSON starts at byte 8.
	if head[0] == 0x80 && head[1] >= 2 && head[1] <= 5 && head[8] != '{' {
		return at.unsupported(pickleHint, pickleMessage)
	}
	if string(head[:2]) == "PK" {
		archive, err := zip.NewReader(r, size)
		if err != nil {
			return at.broken("", "starts like a zip archive, but its directory cannot be read: %w",
				err)
		}
		for _, member := range archive.File {
			if path.Base(member.Name) == "data.pkl" {
				return place{at.file, "member " + member.Name}.unsupported(pickleHint,
					pickleMessage)
			}
		}
	}
	return nil
}
