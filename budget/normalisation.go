package budget

import (
	"fmt"
	"math"

	"kerf/dataset"
	"kerf/fault"
	"kerf/model"
)

// sameWithin is how far, in standard deviations, a normalisation in features.csv may be from that
// in the model file and still count as the same: it lets through numbers printed with five digits.
const sameWithin = 1e-4

// normalised returns the network in a file that takes features normalised as features.csv says. A
// model file may normalise too:
//
//   - features.csv says mean 0 and std 1 throughout: the file's normalisation goes into the
//     weights;
//   - both say the same: it is applied once;
//   - they differ: an error, since nobody can tell which one was meant.
func (in loader) normalised(imported *model.Import, features []dataset.Feature,
	file string) (*model.Network, error) {
	if imported.Mean == nil {
		return imported.Network, nil
	}
	given := false
	for _, f := range features {
		given = given || f.Mean != 0 || f.Std != 1
	}
	if !given {
		net := imported.Folded()
		if err := net.Validate(); err != nil {
			return nil, in.Job.at("export the network without its normalisation",
				fmt.Sprintf("the normalisation in %s cannot go into its weights: %v", file, err),
				"model", "file").From(err)
		}
		return net, nil
	}
	for i, f := range features {
		mean, std := imported.Mean[i], imported.Std[i]
		if math.Abs(f.Mean-mean) > sameWithin*std || math.Abs(f.Std-std) > sameWithin*std {
			return nil, &fault.Error{Kind: dataset.ErrInput, File: in.Job.Features.File,
				Line: f.Line, Name: "column mean",
				Msg: fmt.Sprintf("%s has mean %g and std %g here, but the network in %s "+
					"normalises it itself, with mean %g and std %g", f.Name, f.Mean, f.Std, file,
					mean, std),
				Hint: "write mean 0 and std 1 for every feature if " + file +
					" takes physical units, or export the network without its normalisation"}
		}
	}
	in.Warnings = append(in.Warnings, fmt.Sprintf("%s normalises its features with the mean and "+
		"std that %s gives as well; they are applied once", file, in.Job.Features.File))
	return imported.Network, nil
}
