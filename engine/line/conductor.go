package line

// A Stranding is a class of conductor of IEC 60228.
type Stranding uint8

// The classes that the tables here know.
const (
	Solid          Stranding = iota // class 1 and 2
	Flexible                        // class 5
	FlexibleTinned                  // class 5, tinned
)

// iec60228 is the highest resistance of one plain copper conductor at 20 °C in
// ohm per km, by cross-section in mm²: IEC 60228 as three copies print it. It is
// more than that of pure copper of this section, which must not be used instead.
var iec60228 = map[float64][3]ConductorOhmPerKm{
	0.5:  {36.0, 39.0, 40.1},
	0.75: {24.5, 26.0, 26.7},
	1.0:  {18.1, 19.5, 20.0},
	1.5:  {12.1, 13.3, 13.7},
	2.5:  {7.41, 7.98, 8.21},
}

// ByArea is the highest resistance of a conductor of a standard cross-section in
// mm² at 20 °C. ok is false for a section that the table lacks.
func ByArea(mm2 float64, s Stranding) (r ConductorOhmPerKm, ok bool) {
	row, ok := iec60228[mm2]
	return row[s], ok
}

// awgOhmPer1000Feet is solid copper at 20 °C (HyperPhysics wire gauge table,
// after Floyd; its column per km disagrees with this one for two gauges).
var awgOhmPer1000Feet = map[int]float64{26: 40.81, 24: 25.67, 22: 16.14, 20: 10.15, 18: 6.385, 16: 4.016, 14: 2.525, 12: 1.588}

// feetPerMetre: 1 ft = 0.3048 m exactly.
const feetPerMetre = 1 / 0.3048

// ByGauge is the resistance of a solid copper conductor by its American gauge at 20 °C.
func ByGauge(awg int) (r ConductorOhmPerKm, ok bool) {
	per, ok := awgOhmPer1000Feet[awg]
	return PerThousandFeet(per), ok
}

// PerThousandFeet turns ohms per 1000 ft of one conductor into ohms per km.
func PerThousandFeet(ohm float64) ConductorOhmPerKm { return ConductorOhmPerKm(ohm * feetPerMetre) }

// copperPerKelvin is the rise of copper's resistance, of its value at 20 °C (NBS
// Handbook 100, from memory). IEC 60228 uses another formula, which differs by
// 0.3 % at 75 °C.
const copperPerKelvin = 0.00393

// At is the resistance at a temperature of a conductor whose resistance at 20 °C is r.
func (r ConductorOhmPerKm) At(t Celsius) ConductorOhmPerKm {
	return r * ConductorOhmPerKm(1+copperPerKelvin*float64(t-20))
}
