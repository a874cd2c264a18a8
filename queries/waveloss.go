package queries

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// DefaultFrequency in GHz for wave losses where none is configured. It is the house's choice (a band
// that movement sensors of many kinds may use) and no fact about any device.
const DefaultFrequency = 24.125

//go:embed wave_loss.json
var waveLossFile []byte

// waveRow is one material of the table: eps_r = A f^B and conductivity C f^D in S/m, f in GHz,
// between Min and Max.
type waveRow struct {
	A    float64 `json:"a"`
	B    float64 `json:"b"`
	C    float64 `json:"c"`
	D    float64 `json:"d"`
	Min  float64 `json:"f_min_GHz"`
	Max  float64 `json:"f_max_GHz"`
	Note string  `json:"note"`
}

var waveTable = readWaveTable()

func readWaveTable() map[string]waveRow {
	var table struct {
		Rows map[string]waveRow `json:"rows"`
	}
	if err := json.Unmarshal(waveLossFile, &table); err != nil {
		panic(err) // embedded: a broken file is a broken build
	}
	return table.Rows
}

// WaveLossRows lists the names of the table's rows in alphabetical order.
func WaveLossRows() []string { return slices.Sorted(maps.Keys(waveTable)) }

// CheckWaveLoss says what is wrong with a frequency in GHz and with row names given for materials.
func CheckWaveLoss(frequency float64, rows map[string]string) error {
	if !(frequency >= 0.1 && frequency <= 100) {
		return fmt.Errorf("sensor.frequency_ghz is %g; give 0.1 to 100", frequency)
	}
	for _, material := range slices.Sorted(maps.Keys(rows)) {
		if _, ok := waveTable[rows[material]]; !ok {
			return fmt.Errorf("wave_loss.%s = %q, but the table has no such row; it has %s", material, rows[material], strings.Join(WaveLossRows(), ", "))
		}
	}
	return nil
}

const (
	vacuumPermittivity = 8.8541878128e-12 // F/m (CODATA 2018)
	lightSpeed         = 299_792_458.0    // m/s
)

// permittivity is the relative permittivity and the conductivity in S/m at f GHz.
func (r waveRow) permittivity(f float64) (relative, conductivity float64) {
	return r.A * math.Pow(f, r.B), r.C * math.Pow(f, r.D)
}

// absorption in dB per metre of a plane wave of f GHz in the bulk of the material (ITU-R P.2040-3,
// section 2.1.4):
//
//	20 log10(e) (2 pi f / c) sqrt(eps_r) sqrt((sqrt(1 + tan²) - 1) / 2),   tan = sigma / (2 pi f eps_0 eps_r)
func (r waveRow) absorption(f float64) float64 {
	relative, conductivity := r.permittivity(f)
	angular := 2 * math.Pi * f * 1e9
	tan := conductivity / (angular * vacuumPermittivity * relative)
	return 20 * math.Log10E * angular / lightSpeed * math.Sqrt(relative*(math.Hypot(1, tan)-1)/2)
}

// waveLoss is what the table says of a material at a frequency.
type waveLoss struct {
	row        string
	dBPerMetre Figure
	note       string
}

// waveLossOf looks up a material: by the row the house names for it, else by its own name. What the
// table does not have stays unknown.
func waveLossOf(material string, frequency float64, rows map[string]string) waveLoss {
	name := material
	if named, ok := rows[material]; ok {
		name = named
	}
	row, ok := waveTable[name]
	switch {
	case !ok:
		return waveLoss{dBPerMetre: Unknown, note: "the table has no such material, and none is named for it"}
	case frequency < row.Min || frequency > row.Max:
		return waveLoss{row: name, dBPerMetre: Unknown, note: fmt.Sprintf("the table has it for %g to %g GHz only", row.Min, row.Max)}
	}
	return waveLoss{row: name, dBPerMetre: Figure(row.absorption(frequency)), note: row.Note}
}

// through is the one-way loss in dB of a thickness in millimetres; unknown without one.
func (w waveLoss) through(thickness *float64) Figure {
	if thickness == nil {
		return Unknown
	}
	return w.dBPerMetre * Figure(*thickness/1000)
}
