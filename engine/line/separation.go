package line

// A Screen says which of two cables lying side by side are screened.
type Screen uint8

// The cases of the separation table.
const (
	NeitherScreened Screen = iota
	DataScreened
	PowerScreened
	BothScreened
)

// A Divider is what stands between two cables. It must be earthed.
type Divider uint8

// The dividers of the separation table.
const (
	NoDivider Divider = iota
	AluminiumDivider
	SteelDivider
)

// Separation is the least distance between a data and a power cable (EN
// 50174-2:2000, table 1, as quoted; later editions replace the table, so name
// the edition). The last 15 m are exempt.
func Separation(s Screen, d Divider) Metre {
	return [][]Metre{{0.2, 0.1, 0.05}, {0.05, 0.02, 0.005}, {0.03, 0.01, 0.002}, {0, 0, 0}}[s][d]
}
