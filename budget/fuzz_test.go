package budget

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"kerf/dataset"
	"kerf/fault"
	"kerf/testdata/hardinput"
)

// A TOML text is decoded twice, each key and table with its name and place.
var jobLimits = hardinput.Limits{PerByte: 1500, Spare: 1 << 20}

func FuzzParseJob(f *testing.F) {
	for _, folder := range []string{"demo", "cityweather", "slow"} {
		text, err := os.ReadFile(filepath.Join("..", "testdata", folder, "job.toml"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte(
		"name='a'\n[outputs]\nclasses=['a','b']\ncolumn='c'\n[[region]]\nname='r'\nwhere.leakage={min=nan}\n[recovery]\nepochs=3\n[[model.other]]\nfile='x'\n"))
	f.Add([]byte(`name='a'
[raw]
selection=['a.csv','b.npz']
signoff='c.csv'
rate='6.4 kHz'
window=64
period='100 ms'
[[channel]]
name='supply'
column='p'
converter={low='0 bar',high='250 bar',bits=12,time='2 us',current='1 mA'}
cycles=4
baseline='2 s'
floor='0.06 bar'
[[channel]]
name='return'
converter={low='-1e1 bar',high='inf bar',bits=-1}
baseline='120 bar'
[[target]]
profile='cortex-m4f'
clock='64 MHz'
interrupt=44
interrupt_time='1 us'
features_time='9 ms'
`))
	outputs := []dataset.Output{{Name: "leakage"}, {Name: "air"}}
	f.Fuzz(func(t *testing.T, text []byte) {
		jobLimits.Check(t, len(text), "job.toml", func() error {
			job, err := parseJob(text, "job.toml")
			if err == nil {
				_, err = job.regions(outputs)
			}
			var e *fault.Error
			if err != nil && (!errors.As(err, &e) || e.Msg == "") {
				t.Fatalf("error %#v", err)
			}
			return err
		})
	})
}
