package model

import (
	"bytes"
	"encoding/json"
	"strconv"
	"unicode/utf8"
)

// parseSafetensorsHeader reads the entries of a header, a JSON object with the names of the tensors
// as keys. It checks metadata and drops them.
func parseSafetensorsHeader(header []byte, file place) ([]safetensorsEntry, error) {
	at := place{file.file, "header"}
	if len(header) == 0 || header[0] != '{' {
		return nil, at.broken("is this a safetensors file?", "does not start with {")
	}
	if !utf8.Valid(header) {
		return nil, at.broken("", "is not valid UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(header))
	d.UseNumber()
	var entries []safetensorsEntry
	err := eachMember(d, at, func(name string) error {
		if name == "__metadata__" {
			return readSafetensorsMetadata(d, place{file.file, "header, __metadata__"})
		}
		entry, err := readSafetensorsEntry(d, name, file.tensor(name))
		entries = append(entries, entry)
		return err
	})
	if err != nil {
		return nil, err
	}
	if rest := bytes.TrimLeft(header[d.InputOffset():], " "); len(rest) != 0 {
		return nil, at.broken("", "has %d bytes after its JSON that are not spaces", len(rest))
	}
	return entries, nil
}

// eachMember reads the JSON object that comes next and calls read for every name; read must consume
// the value. A repeated name is an error.
func eachMember(d *json.Decoder, at place, read func(name string) error) error {
	if token, err := d.Token(); err != nil {
		return at.broken("", "is not valid JSON: %w", err)
	} else if token != json.Delim('{') {
		return at.broken("", "found %v where an object must stand", token)
	}
	seen := map[string]bool{}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return at.broken("", "is not valid JSON: %w", err)
		}
		name := token.(string) // the decoder returns an error for any other name
		if seen[name] {
			return at.broken("", "name %q stands twice", name)
		}
		seen[name] = true
		if err := read(name); err != nil {
			return err
		}
	}
	if _, err := d.Token(); err != nil {
		return at.broken("", "is not valid JSON: %w", err)
	}
	return nil
}

// readSafetensorsMetadata returns an error unless the metadata map strings to strings.
func readSafetensorsMetadata(d *json.Decoder, at place) error {
	return eachMember(d, at, func(key string) error {
		token, err := d.Token()
		if err != nil {
			return at.broken("", "is not valid JSON: %w", err)
		}
		if _, ok := token.(string); !ok {
			return at.broken("", "value of %q is not text", key)
		}
		return nil
	})
}

// readSafetensorsEntry reads the value of a tensor's name: an object with exactly the keys dtype,
// shape and data_offsets.
func readSafetensorsEntry(d *json.Decoder, name string, at place) (safetensorsEntry, error) {
	entry := safetensorsEntry{name: name, shape: []int{}}
	found := 0
	err := eachMember(d, at, func(key string) error {
		found++
		switch key {
		case "dtype":
			token, err := d.Token()
			if err != nil {
				return at.broken("", "is not valid JSON: %w", err)
			}
			text, ok := token.(string)
			if !ok {
				return at.broken("", "dtype is %v, expected text", token)
			}
			entry.dtype = text
			return nil
		case "shape":
			shape, err := readIntegers(d, key, at)
			for _, v := range shape {
				if int64(int(v)) != v { // only where int has 32 bits
					return at.broken("", "dimension %d is negative or larger than the file", v)
				}
				entry.shape = append(entry.shape, int(v))
			}
			return err
		case "data_offsets":
			offsets, err := readIntegers(d, key, at)
			if err != nil {
				return err
			}
			if len(offsets) != 2 {
				return at.broken("", "data_offsets has %d numbers, expected 2", len(offsets))
			}
			entry.begin, entry.end = offsets[0], offsets[1]
			return nil
		}
		return at.broken("", "has the unknown key %q", key)
	})
	if err == nil && found != 3 {
		err = at.broken("", "lacks dtype, shape or data_offsets")
	}
	return entry, err
}

// readIntegers reads a JSON array of whole numbers.
func readIntegers(d *json.Decoder, key string, at place) ([]int64, error) {
	if token, err := d.Token(); err != nil {
		return nil, at.broken("", "is not valid JSON: %w", err)
	} else if token != json.Delim('[') {
		return nil, at.broken("", "%s is %v, expected a list of whole numbers", key, token)
	}
	var list []int64
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return nil, at.broken("", "is not valid JSON: %w", err)
		}
		number, _ := token.(json.Number)
		v, err := strconv.ParseInt(number.String(), 10, 64)
		if err != nil {
			return nil, at.broken("", "%s holds %v, expected a whole number", key, token)
		}
		if list = append(list, v); len(list) > maxAxes {
			return nil, at.broken("", "%s has more than %d numbers", key, maxAxes)
		}
	}
	if _, err := d.Token(); err != nil {
		return nil, at.broken("", "is not valid JSON: %w", err)
	}
	return list, nil
}
