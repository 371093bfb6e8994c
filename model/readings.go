package model

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"kerf/whole"
)

// mostReadings is the most specs that [Readings] lists. Our choice: a caller runs a network for
// each of them.
const mostReadings = 1000

// Readings lists the specs with which a file can be read by a convention. It is one spec without
// layers where the file leaves nothing open, as every ONNX file does. Else they are all that fit
// the shapes: every order of modules, every cell, and every activation behind the dense layers
// before the last.
//
// Errors are those of [ImportFile]. Where more than a thousand specs fit, or none, Readings returns
// the error of reading the file without layers.
func Readings(path, convention string) ([]Spec, error) {
	plain := Spec{Convention: convention}
	_, err := ImportFile(path, plain)
	if err == nil {
		return []Spec{plain}, nil
	}
	read, tensors := arraysReader(path, convention)
	if read == nil {
		return nil, err
	}
	skeletons := kerasSkeletons(len(tensors))
	if convention == "torch" {
		skeletons = torchSkeletons(path, tensors)
	}
	var all []Spec
	for _, layers := range skeletons {
		if _, failed := read(Spec{convention, layers}); failed != nil {
			continue
		}
		all = append(all, withActivations(Spec{convention, layers})...)
		if len(all) > mostReadings {
			return nil, err
		}
	}
	if len(all) == 0 {
		return nil, err
	}
	return all, nil
}

// arraysReader reads the arrays of a file once. It returns them with a function that builds their
// network by a spec, or nil if the file cannot be read.
func arraysReader(path,
	convention string) (read func(Spec) (*Network, error), tensors map[string]*Tensor) {
	f, size, err := whole.OpenRegular(path)
	if err != nil {
		return nil, nil
	}
	defer f.Close()
	extension := strings.ToLower(filepath.Ext(path))
	readTensors := map[string]func(io.ReaderAt, int64, string) (map[string]*Tensor,
		error){".safetensors": ReadSafetensors, ".npz": ReadNPZ}[extension]
	if readTensors == nil {
		return nil, nil
	}
	if tensors, err = readTensors(f, size, path); err != nil {
		return nil, nil
	}
	return func(s Spec) (*Network, error) {
		return fromArrays(place{file: path}, tensors, s)
	}, tensors
}

// torchSkeletons returns the lists of layers that a state dict allows: its modules in every order,
// the recurrent ones with every cell that fits their gates.
func torchSkeletons(path string, tensors map[string]*Tensor) [][]LayerSpec {
	d := stateDict{file: place{file: path}, tensors: tensors}
	if d.findModules() != nil {
		return nil
	}
	var all [][]LayerSpec
	for _, recurrent := range permutations(len(d.recurrent)) {
		for _, dense := range permutations(len(d.dense)) {
			lists := [][]LayerSpec{nil}
			for _, i := range recurrent {
				m := d.recurrent[i]
				// Where the tensor is missing, blocks is 0 and no cell fits.
				blocks, _ := d.blocks(m.prefix + "weight_hh_l0")
				lists = extended(lists, cellsWith(blocks, m.name()))
			}
			for _, i := range dense {
				lists = extended(lists, []LayerSpec{{Name: d.dense[i].name()}})
			}
			all = append(all, lists...)
		}
	}
	return all
}

// cellsWith lists a recurrent module with every cell of so many gates, without the reset-before
// GRU, which torch does not have.
func cellsWith(gates int, name string) []LayerSpec {
	var all []LayerSpec
	for k := GRUResetAfter; k.known(); k++ {
		if k.Gates() == gates && k != GRUResetBefore {
			all = append(all, LayerSpec{Name: name, Cell: cellNames[k]})
		}
	}
	return all
}

// kerasSkeletons returns the lists of layers that so many arrays allow: one to three recurrent
// layers of any cells, then dense layers.
func kerasSkeletons(arrays int) [][]LayerSpec {
	var cells []LayerSpec
	for _, name := range cellNames[GRUResetAfter:] {
		cells = append(cells, LayerSpec{Cell: name})
	}
	var all [][]LayerSpec
	lists := [][]LayerSpec{nil}
	for range maxRecurrent {
		lists = extended(lists, cells)
		dense := lists
		for n := 1; 2*len(lists[0])+n <= arrays; n++ {
			dense = extended(dense, []LayerSpec{{Activation: activationNames[Identity]}})
			all = append(all, dense...)
		}
	}
	return all
}

// extended returns every list with each of the entries behind it.
func extended(lists [][]LayerSpec, entries []LayerSpec) [][]LayerSpec {
	var all [][]LayerSpec
	for _, list := range lists {
		for _, e := range entries {
			all = append(all, append(slices.Clone(list), e))
		}
	}
	return all
}

// withActivations returns a spec with every activation behind each dense layer but the last.
func withActivations(s Spec) []Spec {
	lists := [][]LayerSpec{nil}
	for i, l := range s.Layers {
		entries := []LayerSpec{l}
		if l.Cell == "" && i < len(s.Layers)-1 {
			entries = nil
			for _, name := range activationNames {
				entries = append(entries, LayerSpec{Name: l.Name, Activation: name})
			}
		}
		lists = extended(lists, entries)
	}
	all := make([]Spec, len(lists))
	for i, layers := range lists {
		all[i] = Spec{s.Convention, layers}
	}
	return all
}

// String returns the layers of a spec in one line, or "" if it has none.
func (s Spec) String() string {
	var parts []string
	for _, l := range s.Layers {
		parts = append(parts,
			strings.TrimSpace(fmt.Sprintf("%s %s%s", l.Name, l.Cell, l.Activation)))
	}
	return strings.Join(parts, ", ")
}
