package line

import (
	"errors"
	"math"
	"slices"
	"testing"
)

// The check cases of published line values. Each row carries its id, what is
// computed, the figure expected, the tolerance (a share unless absolute) and the
// source of the figure. "computed" says that it follows from the sourced inputs
// named; "common practice, no source" and "from memory" mean what they say.
func TestPublishedValues(t *testing.T) {
	const (
		tia       = "TIA-485-A as printed in open articles; figure computed"
		guide     = "public RS-485 design guide, bus loading"
		modbus    = "Modbus over Serial Line V1.02; figure computed"
		profibus  = "M. Felser, PROFIBUS Manual, bus termination; figure computed"
		can       = "CAN System Engineering tables 4.1, 4.2; figure computed"
		canSpec   = "CAN FD specification 1.0, section 7"
		copper    = "IEC 60228; figure computed"
		textbook  = "textbook formula, from memory; figure computed"
		practice  = "common practice, no source; figure computed"
		iec61131  = "IEC 61131-2, from memory; figure computed"
		bounce    = "exercise on a bounce diagram; answer computed"
		stevenson = "Elements of Power System Analysis, example 5.6, published companion result"
	)
	flex75, _ := ByArea(0.75, Flexible)
	flex15, _ := ByArea(1.5, Flexible)
	flex25, _ := ByArea(2.5, Flexible)
	byArea := func(mm2 float64, s Stranding) float64 { r, _ := ByArea(mm2, s); return float64(r) }
	byGauge := func(awg int) float64 { r, _ := ByGauge(awg); return float64(r) }
	awg18, _ := ByGauge(18)
	awg24, _ := ByGauge(24)
	awg26, _ := ByGauge(26)
	rt120, rt150 := Parallel(120, 120), Parallel(150, 150)
	bias650 := Bias{5, 650, 650}
	solve := func(f Feed) []Volt {
		t.Helper()
		v, err := f.Solve()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	one := func(r ConductorOhmPerKm, length Metre, load Load) Volt {
		return solve(Feed{24, []Node{{-1, r.Loop().Over(length), load}}})[0]
	}
	four := Feed{Supply: 24}
	for i := range 4 {
		four.Nodes = append(four.Nodes, Node{i - 1, flex15.Loop().Over(20), Load{Current: 0.5}})
	}
	dc9 := solve(four)
	silence := func(r BitPerSecond) (a, b float64) { x, y := Silences(r); return float64(x) * 1e3, float64(y) * 1e3 }
	in96, out96 := silence(9600)
	in192, out192 := silence(19200)
	in384, out384 := silence(38400)
	token := LoopOhmPerKm(110)
	trunk := func(loop LoopOhmPerKm, length Metre, near, far Ohm) *Pair {
		return &Pair{Cable: []Cable{{length, loop}}, Across: []Shunt{{0, near}, {length, far}}}
	}
	cut := trunk(0, 400, 150, 150)
	cut.Cuts = []Metre{300}
	pb := func(length Metre) Ohm { return trunk(110, length, 220, 220).Seen(0) }
	stub := func(tr Second) StubLimits { return Stubs(tr, 5e-9) }
	lattice := func(s Step, place float64, n, i int) float64 { return float64(s.Lattice(place, n)[i].Volt) }
	open, double := Step{3, 60, 120, Open, 1}, Step{3, 60, 120, 60, 1}
	exercise := Step{60, 100, 50, 25, 5e-9}
	rows := []struct {
		id        string
		got, want float64
		tolerance float64 // share of want; negative: absolute
		source    string
	}{
		{"485-3", float64(BiasFor(4.75, 0.25, 120, 32)), 527.8, 1e-3, tia},
		{"485-3 next", float64(Companion(120, 523)), 135.6, 1e-3, tia},
		{"485-4", float64(bias650.Idle(rt120)), 0.2206, 1e-3, tia},
		{"485-5", float64(bias650.Idle(Parallel(rt120, Inputs(32)))), 0.2049, 1e-3, tia},
		{"485-6", float64(bias650.Idle(Parallel(120, 120, 120))), 0.1493, 1e-3, tia},
		{"485-7", float64(Bias{5, 450, 450}.Idle(Parallel(rt120, Inputs(32)))), 0.2907, 1e-3, tia},
		{"485-8", float64(Companion(120, 620)), 132.86, 1e-3, "Serial Port Complete, 2nd ed., p. 129 (prints 133)"},
		{"485-10", float64(DriverLeast) / 54 * 1e3, 27.8, 1e-3, tia},
		{"485-M1", float64(trunk(0, 1, 150, 150).Seen(0)), 75, 1e-3, practice},
		{"485-M2", float64(rt120), 60, 1e-3, tia},
		{"485-M3", float64(trunk(0, 1, 120, Open).Seen(0)), 120, 1e-3, tia},
		{"485-M4", float64(trunk(token, 400, 150, 150).Seen(0)), 84.6, 1e-3, practice},
		{"485-M5", float64(Parallel(rt150, Inputs(32))), 68.2, 1e-3, tia},
		{"485-M6", float64(ConductorOhmPerKm(84.2).Loop().Length(16.84)), 100, 1e-3, "AWG 24 by HyperPhysics; figure computed"},
		{"485-M7", float64(Parallel(150, 16.84)), 15.14, 1e-3, practice},
		{"485-M7 far", float64(ConductorOhmPerKm(84.2).Loop().Length(Parallel(150, 16.84))), 89.9, 1e-3, practice},
		{"485-M8", float64(Parallel(rt150, bias650.Across())), 70.9, 1e-3, practice},
		{"485-M9a", float64(trunk(0, 400, 150, 150).Seen(200)), 75, 1e-3, practice},
		{"485-M9b", float64(cut.Seen(200)), 150, 1e-3, practice},
		{"485-M10a", 24.0 / 150, 0.16, 1e-3, practice},
		{"485-M10b", 24.0 * 24 / 150, 3.84, 1e-3, practice},
		{"485-M10c", math.Sqrt(0.5 * 150), 8.66, 1e-3, modbus},
		{"MB-1", float64(BitPerSecond(9600).Character(11)) * 1e3, 1.145833, 1e-4, modbus},
		{"MB-1 inside", in96, 1.718750, 1e-4, modbus},
		{"MB-1 between", out96, 4.010417, 1e-4, modbus},
		{"MB-2", float64(BitPerSecond(19200).Character(11)) * 1e3, 0.572917, 1e-4, modbus},
		{"MB-2 inside", in192, 0.859375, 1e-4, modbus},
		{"MB-2 between", out192, 2.005208, 1e-4, modbus},
		{"MB-3 inside", in384, 0.750, 1e-4, modbus},
		{"MB-3 between", out384, 1.750, 1e-4, modbus},
		{"MB-3a", float64(BitPerSecond(38400).Character(11)) * 1e3, 0.286458, 1e-4, modbus},
		{"MB-3b", float64(BitPerSecond(115200).Character(11)) * 1e3, 0.095486, 1e-4, modbus},
		{"MB-4a", float64(BitPerSecond(9600).Character(11*256)) * 1e3, 293.333, 1e-4, modbus},
		{"MB-4b", float64(BitPerSecond(19200).Character(11*256)) * 1e3, 146.667, 1e-4, modbus},
		{"MB-5", float64(InputsPoll(9600, 16, 0)) * 1e3, 25.2083, 1e-4, modbus},
		{"MB-5 all", 32 * float64(InputsPoll(9600, 16, 0)) * 1e3, 806.67, 1e-4, modbus},
		{"MB-6a", float64(InputsAnswer(16)), 7, 0, "Modbus application protocol, from memory"},
		{"MB-6b", float64(InputsAnswer(32)), 9, 0, "Modbus application protocol, from memory"},
		{"MB-6c", float64(InputsAnswer(64)), 13, 0, "Modbus application protocol, from memory"},
		{"MB-6 time", float64(BitPerSecond(9600).Character(11*InputsAnswer(64))) * 1e3, 14.8958, 1e-4, modbus},
		{"MB-8a", float64(ModbusUnits(false)), 32, 0, modbus},
		{"MB-8b", float64(ModbusUnits(true)), 28, 0, modbus},
		{"MB-9a", float64(bias650.Idle(rt150)), 0.2727, 2e-4, modbus},
		{"MB-9b", float64(bias650.Idle(Parallel(rt150, Inputs(32)))), 0.2492, 2e-4, modbus},
		{"MB-10", float64(bias650.Idle(Inputs(32))), 1.829, 2e-4, modbus},
		{"MB-12", float64(FarEnd(1.5, ConductorOhmPerKm(133.9).Loop().Over(1000), 150)), 0.539, 1e-3, modbus},
		{"PB-1", float64(ProfibusTerminator.Wave()), 171.6, 1e-3, profibus},
		{"PB-2a", Reflection(ProfibusTerminator.Wave(), 135), 0.1194, 1e-3, profibus},
		{"PB-2b", Reflection(ProfibusTerminator.Wave(), 150), 0.0672, 1e-3, profibus},
		{"PB-2c", Reflection(ProfibusTerminator.Wave(), 165), 0.0196, 3e-3, profibus},
		{"PB-3a", float64(ProfibusTerminator.IdleOf(1, 0)), 1.1, 1e-3, profibus},
		{"PB-3b", float64(ProfibusTerminator.IdleOf(2, 0)), 1.1, 1e-3, profibus},
		{"PB-4", float64(ProfibusTerminator.IdleOf(1, 1)), 0.618, 1e-3, profibus},
		{"PB-5a", float64(Parallel(220)), 220, 1e-3, profibus},
		{"PB-5b", float64(Parallel(220, 220)), 110, 1e-3, profibus},
		{"PB-5c", float64(Parallel(220, 220, 220)), 73.3, 1e-3, profibus},
		{"PB-6a", float64(pb(200)), 115.2, 1e-3, profibus},
		{"PB-6b", float64(pb(1200)), 135.4, 1e-3, profibus},
		{"PB-8 pass", 20*0.25 + 31*0.05, 6.55, 1e-3, "PROFIBUS Competency Center Australia, table 1; figure computed"},
		{"PB-10", float64(FarEnd(1.5, token.Over(1200), 150)), 0.798, 1e-3, profibus},
		{"CAN-1a", float64(Parallel(120, 120)), 60, 1e-3, can},
		{"CAN-1b", float64(Parallel(120, 120, 120)), 40, 1e-3, can},
		{"CAN-2", float64(trunk(ConductorOhmPerKm(70).Loop(), 100, 120, 120).Seen(0)), 63.3, 1e-3, "CiA 303-1, from memory; figure computed"},
		{"CAN-3 echo", float64(RoundTrip(100, 5e-9)) * 1e9, 1000, 1e-3, can},
		{"CAN-3 sample", float64(CANSample(500000)) * 1e9, 1750, 1e-3, can},
		{"CAN-4a", float64(CANSample(250000)) * 1e9, 3500, 1e-3, can},
		{"CAN-4b", float64(CANSample(125000)) * 1e9, 7000, 1e-3, can},
		{"CAN-5a", float64(CANLongest(1000000, 310e-9, 5e-9)), 25.5, 5e-3, can},
		{"CAN-5b", float64(CANLongest(500000, 310e-9, 5e-9)), 113, 5e-3, can},
		{"CAN-5c", float64(CANLongest(250000, 310e-9, 5e-9)), 288, 5e-3, can},
		{"CAN-5d", float64(CANLongest(125000, 310e-9, 5e-9)), 638, 5e-3, can},
		{"CAN-10", float64(BitPerSecond(125000).Character(CANFrame(8))) * 1e3, 1.080, 1e-3, "Davis and others 2007, from memory"},
		{"CAN-10 bits", float64(CANFrame(8)), 135, 0, "Davis and others 2007, from memory"},
		{"CAN-11", float64(stub(50e-9).CriticalThird), 1.667, 1e-3, "CiA 301 V4.2.0 as quoted in the ECSS glossary"},
		{"UART-1a", RateBound(10) * 100, 5.263, 1e-3, textbook},
		{"UART-1b", RateBound(11) * 100, 4.762, 1e-3, textbook},
		{"UART-2", Drift(9600, 9408, 11), 0.214, 2e-3, textbook},
		{"UART-3", Drift(153600, 76800, 10), 9.5, 1e-3, textbook},
		{"UART-4", Drift(115200, 111111, 10), 0.350, 2e-3, textbook},
		{"REF-1a", Reflection(150, 120), 0.1111, 1e-3, textbook},
		{"REF-1b", Reflection(120, 150), -0.1111, 1e-3, textbook},
		{"REF-1c", Reflection(100, 120), -0.0909, 1e-3, textbook},
		{"REF-2a", Reflection(75, 150), -0.3333, 1e-3, textbook},
		{"REF-2b", Reflection(40, 120), -0.5, 1e-3, textbook},
		{"REF-3", Reflection(Inputs(1), 120), 0.99, 1e-3, textbook},
		{"REF-4a", Reflection(Parallel(120, 120), 120), -0.3333, 1e-3, textbook},
		{"REF-4b", 1 + Reflection(Parallel(120, 120), 120), 0.6667, 1e-3, textbook},
		{"REF-8a", float64(Delay(0.66)) * 1e9, 5.054, 1e-3, textbook},
		{"REF-8b", float64(Delay(0.70)) * 1e9, 4.765, 1e-3, textbook},
		{"REF-9a", float64(stub(10e-9).OneWayTenth), 0.20, 1e-3, textbook},
		{"REF-9b", float64(stub(500e-9).OneWayTenth), 10, 1e-3, textbook},
		{"REF-9c", float64(stub(250e-9).RoundTripTenth), 2.5, 1e-3, textbook},
		{"REF-10", float64(stub(50e-9).RoundTripTenth), 0.5, 1e-3, textbook},
		{"REF-11a", float64(RoundTrip(600, 5e-9)) * 1e6, 6, 1e-3, textbook},
		{"REF-11b", float64(RoundTrip(600, 5e-9)) / float64(BitPerSecond(153600).Bit()) * 100, 92.2, 1e-3, textbook},
		{"REF-12", float64(FarEnd(1, awg24.Loop().Over(1200), 100)), 0.331, 1e-3, "TIA/EIA-422-B A.1.1 as quoted: 66 % loss"},
		{"REF-13a", float64(FarEnd(1, awg24.Loop().Over(1200), 120)), 0.3725, 1e-3, textbook},
		{"rate half", float64(roundTripLength(153600, 0.5, 5e-9)), 325.5, 1e-3, practice},
		{"rate whole", float64(roundTripLength(12000000, 1, 5e-9)), 8.333, 1e-3, textbook},
		{"REF-7 1", lattice(open, 1, 9, 0), 4.000, 1e-3, textbook},
		{"REF-7 2", lattice(open, 1, 9, 1), 2.667, 1e-3, textbook},
		{"REF-7 3", lattice(open, 1, 9, 2), 3.111, 1e-3, textbook},
		{"REF-7 4", lattice(open, 1, 9, 3), 2.963, 1e-3, textbook},
		{"REF-7 5", lattice(open, 1, 9, 4), 3.012, 1e-3, textbook},
		{"lattice C double 1", lattice(double, 1, 5, 0), 1.333, 1e-3, textbook},
		{"lattice C double 2", lattice(double, 1, 5, 1), 1.481, 1e-3, textbook},
		{"lattice C double 3", lattice(double, 1, 5, 2), 1.498, 1e-3, textbook},
		{"lattice C double final", float64(double.Final()), 1.5, 1e-3, textbook},
		{"REF-6 1", lattice(exercise, 0.5, 5, 0), 20, -0.01, bounce},
		{"REF-6 2", lattice(exercise, 0.5, 5, 1), 13.333, -0.01, bounce},
		{"REF-6 3", lattice(exercise, 0.5, 5, 2), 11.111, -0.01, bounce},
		{"REF-6 4", lattice(exercise, 0.5, 5, 3), 11.852, -0.01, bounce},
		{"REF-6 5", lattice(exercise, 0.5, 5, 4), 12.099, -0.01, bounce},
		{"REF-6 time", float64(exercise.Lattice(0.5, 5)[4].At) * 1e9, 22.5, 1e-6, bounce},
		{"REF-6 final", float64(exercise.Final()), 12, 1e-6, bounce},
		{"DC-1a", float64(SupplyLow), 20.4, 1e-9, iec61131},
		{"DC-1b", float64(SupplyHigh), 28.8, 1e-9, iec61131},
		{"DC-1c", float64(SupplyLowRipple), 19.2, 1e-9, iec61131},
		{"DC-1d", float64(SupplyHighRipple), 30.0, 1e-9, iec61131},
		{"DC-2", float64(one(flex75, 60, Load{Current: 1.2})), 20.256, 1e-3, copper},
		{"DC-3", float64(one(flex75.At(50), 60, Load{Current: 1.2})), 19.815, 1e-3, copper},
		{"DC-4", float64(one(flex15, 60, Load{Current: 1.2})), 22.085, 1e-3, copper},
		{"DC-5a", float64(flex75.Loop().Length((&Feed{24, []Node{{-1, 1, Load{Current: 1.2}}}}).MostLoop(0, SupplyLow))), 57.7, 1e-3, copper},
		{"DC-5b", float64(flex75.Loop().Length((&Feed{24, []Node{{-1, 1, Load{Current: 1.2}}}}).MostLoop(0, SupplyLowRipple))), 76.9, 1e-3, copper},
		{"DC-6", 4 * float64(PerThousandFeet(4.99).Loop().Over(Metre(100*0.3048))), 3.992, 1e-3, "voltage drop lesson after NEC chapter 9 table 8"},
		{"DC-7", float64(one(awg18, 40, Load{Current: 3})), 18.972, 1e-3, "AWG 18 by HyperPhysics; figure computed"},
		{"DC-8", float64(one(flex25, 30, Load{Current: 5})), 21.606, 1e-3, copper},
		{"DC-9a", float64(dc9[0]), 22.936, 1e-3, copper},
		{"DC-9b", float64(dc9[1]), 22.138, 1e-3, copper},
		{"DC-9c", float64(dc9[2]), 21.606, 1e-3, copper},
		{"DC-9d", float64(dc9[3]), 21.340, 1e-3, copper},
		{"DC-10", float64(one(flex15, 80, Load{Current: 2})), 19.744, 1e-3, copper},
		{"DC-11", float64(one(flex15, 60, Load{Power: 24})), 22.281, 1e-3, copper},
		{"DC-11 A", float64(Load{Power: 24}.Takes(one(flex15, 60, Load{Power: 24}))), 1.0772, 1e-3, copper},
		{"DC-12", float64(one(flex75, 60, Load{Power: 24})), 20.314, 1e-3, copper},
		{"DC-17", float64(Module{Electronics: 0.30, InputsOn: 16, InputEach: 0.006, OutputsOn: 8, OutputEach: 0.5}.Takes()), 4.396, 1e-3, textbook},
		{"DC-18", float64(Module{OutputsOn: 16, OutputEach: 0.5}.Takes()), 8.0, 1e-3, textbook},
		{"copper 90 °C", float64(ConductorOhmPerKm(1).At(90)), 1.2751, 1e-4, "NBS Handbook 100, from memory"},
		{"copper 50 °C", float64(ConductorOhmPerKm(1).At(50)), 1.1179, 1e-4, "NBS Handbook 100, from memory"},
		{"AWG 26", float64(awg26), 133.9, 1e-3, "HyperPhysics wire gauge table"},
		{"AWG 24", float64(awg24), 84.22, 1e-3, "HyperPhysics wire gauge table"},
		{"AWG 18", float64(awg18), 20.95, 1e-3, "HyperPhysics wire gauge table"},
		{"EMC-1a", float64(Separation(NeitherScreened, NoDivider)) * 1e3, 200, 1e-9, "EN 50174-2:2000 table 1 as quoted"},
		{"EMC-1b", float64(Separation(NeitherScreened, SteelDivider)) * 1e3, 50, 1e-9, "EN 50174-2:2000 table 1 as quoted"},
		{"EMC-2", float64(Separation(DataScreened, NoDivider)) * 1e3, 50, 1e-9, "EN 50174-2:2000 table 1 as quoted"},
		{"EMC-3", float64(Separation(BothScreened, NoDivider)), 0, 0, "EN 50174-2:2000 table 1 as quoted"},
		{"EMC-4", 250 / 1e6 * 1e3, 0.25, 1e-9, textbook},
		{"GIV-1a", float64(BitPerSecond(153600).Bit()) * 1e6, 6.5104, 1e-4, practice},
		{"GIV-1b", float64(BitPerSecond(153600).Character(11)) * 1e6, 71.615, 1e-4, practice},
		{"GIV-2", float64(Parallel(150, 150, 150)), 50, 1e-9, practice},
		{"GIV-6a", float64(rt120), 60, 1e-9, practice},
		{"GIV-6b", Reflection(120, 150), -0.1111, 1e-3, practice},
		{"MB-6 time 16", float64(BitPerSecond(9600).Character(11*InputsAnswer(16))) * 1e3, 8.0208, 1e-4, modbus},
		{"MB-6 time 32", float64(BitPerSecond(9600).Character(11*InputsAnswer(32))) * 1e3, 10.3125, 1e-4, modbus},
		{"PB-8 fail", 22*0.25 + 31*0.05, 7.05, 1e-3, "PROFIBUS Competency Center Australia, table 1; figure computed"},
		{"PB-8 limit", 0.2e-9 / profibusFarad, 6.67, 1e-3, "PROFIBUS Competency Center Australia, table 1; figure computed"},
		{"CAN-1c", float64(trunk(0, 1, 120, Open).Seen(0)), 120, 1e-3, can},
		{"CAN-3 left", float64(CANSample(500000)-RoundTrip(100, 5e-9)) * 1e9, 750, 1e-3, can},
		{"CAN-4c", float64(RoundTrip(250, 5e-9)) * 1e9, 2500, 1e-3, can},
		{"CAN-4d", float64(RoundTrip(500, 5e-9)) * 1e9, 5000, 1e-3, can},
		{"CAN-8 sum", 10 * 3, 30, 1e-9, can},
		{"CAN-10b", float64(BitPerSecond(250000).Character(CANFrame(8))) * 1e3, 0.540, 1e-3, "Davis and others 2007, from memory"},
		{"CAN-10c", float64(BitPerSecond(500000).Character(CANFrame(8))) * 1e3, 0.270, 1e-3, "Davis and others 2007, from memory"},
		{"CAN-11 critical", 3 * float64(stub(50e-9).CriticalThird), 5.00, 1e-3, "CiA 301 V4.2.0 as quoted in the ECSS glossary"},
		{"REF-9d", float64(stub(50e-9).OneWayTenth), 1, 1e-3, textbook},
		{"REF-9e", float64(stub(250e-9).OneWayTenth), 5, 1e-3, textbook},
		{"REF-9f", float64(stub(10e-9).RoundTripTenth), 0.1, 1e-3, textbook},
		{"REF-9g", float64(stub(50e-9).RoundTripTenth), 0.5, 1e-3, textbook},
		{"REF-9h", float64(stub(500e-9).RoundTripTenth), 5, 1e-3, textbook},
		{"REF-10b", float64(stub(50e-9).OneWayTenth), 1, 1e-3, textbook},
		{"REF-10c", float64(stub(50e-9).CriticalThird), 1.667, 1e-3, "CiA 301 V4.2.0 as quoted in the ECSS glossary"},
		{"REF-12 loss", 100 * (1 - float64(FarEnd(1, awg24.Loop().Over(1200), 100))), 66.9, 1e-3, "TIA/EIA-422-B A.1.1 as quoted: 66 % loss"},
		{"lattice C matched", lattice(Step{3, 60, 120, 120, 1}, 1, 9, 0), 2, 1e-9, textbook},
		{"DC-2 loop", float64(flex75.Loop().Over(60)), 3.120, 1e-3, copper},
		{"DC-2 drop", 24 - float64(one(flex75, 60, Load{Current: 1.2})), 3.744, 1e-3, copper},
		{"DC-3 drop", 24 - float64(one(flex75.At(50), 60, Load{Current: 1.2})), 4.185, 1e-3, copper},
		{"DC-4 loop", float64(flex15.Loop().Over(60)), 1.596, 1e-3, copper},
		{"DC-4 drop", 24 - float64(one(flex15, 60, Load{Current: 1.2})), 1.915, 1e-3, copper},
		{"DC-6 %", 100 * 4 * float64(PerThousandFeet(4.99).Loop().Over(Metre(100*0.3048))) / 24, 16.63, 1e-3, "voltage drop lesson after NEC chapter 9 table 8"},
		{"DC-7 drop", 24 - float64(one(awg18, 40, Load{Current: 3})), 5.028, 1e-3, "AWG 18 by HyperPhysics; figure computed"},
		{"DC-8 drop", 24 - float64(one(flex25, 30, Load{Current: 5})), 2.394, 1e-3, copper},
		{"DC-12 A", float64(Load{Power: 24}.Takes(one(flex75, 60, Load{Power: 24}))), 1.1815, 1e-3, copper},
		{"GIV-2a", float64(rt150), 75, 1e-9, practice},
		{"GIV-2b", float64(Parallel(150)), 150, 1e-9, practice},
		{"GIV-5a", float64(TokenPair.Usual) / 2, 76800, 0, practice},
		{"GIV-5b", float64(TokenPair.Usual) / 4, 38400, 0, practice},
		{"GIV-5c", 16 * 9600, float64(TokenPair.Usual), 0, practice},
		{"GIV-5d", 8 * 19200, float64(TokenPair.Usual), 0, practice},
		{"GIV-7 half", float64(roundTripLength(153600, 0.5, 5e-9)), 325.5, 1e-3, practice},
		{"rate table 9600 bit", float64(BitPerSecond(9600).Bit()) * 1e6, 104.17, 1e-4, textbook},
		{"rate table 9600 half", float64(roundTripLength(9600, 0.5, 5e-9)), 5208, 2e-4, textbook},
		{"rate table 9600 whole", float64(roundTripLength(9600, 1, 5e-9)), 10417, 5e-4, textbook},
		{"rate table 9600 character", float64(BitPerSecond(9600).Character(11)) * 1e6, 1145.8, 1e-4, textbook},
		{"rate table 19200 bit", float64(BitPerSecond(19200).Bit()) * 1e6, 52.083, 1e-4, textbook},
		{"rate table 19200 half", float64(roundTripLength(19200, 0.5, 5e-9)), 2604, 2e-4, textbook},
		{"rate table 19200 whole", float64(roundTripLength(19200, 1, 5e-9)), 5208, 5e-4, textbook},
		{"rate table 19200 character", float64(BitPerSecond(19200).Character(11)) * 1e6, 572.92, 1e-4, textbook},
		{"rate table 38400 bit", float64(BitPerSecond(38400).Bit()) * 1e6, 26.042, 1e-4, textbook},
		{"rate table 38400 half", float64(roundTripLength(38400, 0.5, 5e-9)), 1302, 2e-4, textbook},
		{"rate table 38400 whole", float64(roundTripLength(38400, 1, 5e-9)), 2604, 5e-4, textbook},
		{"rate table 38400 character", float64(BitPerSecond(38400).Character(11)) * 1e6, 286.46, 1e-4, textbook},
		{"rate table 76800 bit", float64(BitPerSecond(76800).Bit()) * 1e6, 13.021, 1e-4, textbook},
		{"rate table 76800 half", float64(roundTripLength(76800, 0.5, 5e-9)), 651.0, 2e-4, textbook},
		{"rate table 76800 whole", float64(roundTripLength(76800, 1, 5e-9)), 1302, 5e-4, textbook},
		{"rate table 76800 character", float64(BitPerSecond(76800).Character(11)) * 1e6, 143.23, 1e-4, textbook},
		{"rate table 93750 bit", float64(BitPerSecond(93750).Bit()) * 1e6, 10.667, 1e-4, textbook},
		{"rate table 93750 half", float64(roundTripLength(93750, 0.5, 5e-9)), 533.3, 2e-4, textbook},
		{"rate table 93750 whole", float64(roundTripLength(93750, 1, 5e-9)), 1067, 5e-4, textbook},
		{"rate table 93750 character", float64(BitPerSecond(93750).Character(11)) * 1e6, 117.33, 1e-4, textbook},
		{"rate table 115200 bit", float64(BitPerSecond(115200).Bit()) * 1e6, 8.6806, 1e-4, textbook},
		{"rate table 115200 half", float64(roundTripLength(115200, 0.5, 5e-9)), 434.0, 2e-4, textbook},
		{"rate table 115200 whole", float64(roundTripLength(115200, 1, 5e-9)), 868.1, 5e-4, textbook},
		{"rate table 115200 character", float64(BitPerSecond(115200).Character(11)) * 1e6, 95.486, 1e-4, textbook},
		{"rate table 153600 bit", float64(BitPerSecond(153600).Bit()) * 1e6, 6.5104, 1e-4, textbook},
		{"rate table 153600 half", float64(roundTripLength(153600, 0.5, 5e-9)), 325.5, 2e-4, textbook},
		{"rate table 153600 whole", float64(roundTripLength(153600, 1, 5e-9)), 651.0, 5e-4, textbook},
		{"rate table 153600 character", float64(BitPerSecond(153600).Character(11)) * 1e6, 71.615, 1e-4, textbook},
		{"rate table 187500 bit", float64(BitPerSecond(187500).Bit()) * 1e6, 5.3333, 1e-4, textbook},
		{"rate table 187500 half", float64(roundTripLength(187500, 0.5, 5e-9)), 266.7, 2e-4, textbook},
		{"rate table 187500 whole", float64(roundTripLength(187500, 1, 5e-9)), 533.3, 5e-4, textbook},
		{"rate table 187500 character", float64(BitPerSecond(187500).Character(11)) * 1e6, 58.667, 1e-4, textbook},
		{"rate table 500000 bit", float64(BitPerSecond(500000).Bit()) * 1e6, 2.0, 1e-4, textbook},
		{"rate table 500000 half", float64(roundTripLength(500000, 0.5, 5e-9)), 100.0, 2e-4, textbook},
		{"rate table 500000 whole", float64(roundTripLength(500000, 1, 5e-9)), 200.0, 5e-4, textbook},
		{"rate table 500000 character", float64(BitPerSecond(500000).Character(11)) * 1e6, 22.0, 1e-4, textbook},
		{"rate table 1500000 bit", float64(BitPerSecond(1500000).Bit()) * 1e6, 0.66667, 1e-4, textbook},
		{"rate table 1500000 half", float64(roundTripLength(1500000, 0.5, 5e-9)), 33.33, 2e-4, textbook},
		{"rate table 1500000 whole", float64(roundTripLength(1500000, 1, 5e-9)), 66.67, 5e-4, textbook},
		{"rate table 1500000 character", float64(BitPerSecond(1500000).Character(11)) * 1e6, 7.3333, 1e-4, textbook},
		{"rate table 12000000 bit", float64(BitPerSecond(12000000).Bit()) * 1e6, 0.083333, 1e-4, textbook},
		{"rate table 12000000 half", float64(roundTripLength(12000000, 0.5, 5e-9)), 4.167, 2e-4, textbook},
		{"rate table 12000000 whole", float64(roundTripLength(12000000, 1, 5e-9)), 8.333, 5e-4, textbook},
		{"rate table 12000000 character", float64(BitPerSecond(12000000).Character(11)) * 1e6, 0.91667, 1e-4, textbook},
		{"IEC 60228 0.5 Solid", byArea(0.5, Solid), 36.0, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 0.5 Flexible", byArea(0.5, Flexible), 39.0, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 0.5 FlexibleTinned", byArea(0.5, FlexibleTinned), 40.1, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 0.75 Solid", byArea(0.75, Solid), 24.5, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 0.75 Flexible", byArea(0.75, Flexible), 26.0, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 0.75 FlexibleTinned", byArea(0.75, FlexibleTinned), 26.7, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 1.0 Solid", byArea(1.0, Solid), 18.1, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 1.0 Flexible", byArea(1.0, Flexible), 19.5, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 1.0 FlexibleTinned", byArea(1.0, FlexibleTinned), 20.0, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 1.5 Solid", byArea(1.5, Solid), 12.1, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 1.5 Flexible", byArea(1.5, Flexible), 13.3, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 1.5 FlexibleTinned", byArea(1.5, FlexibleTinned), 13.7, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 2.5 Solid", byArea(2.5, Solid), 7.41, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 2.5 Flexible", byArea(2.5, Flexible), 7.98, 1e-9, "IEC 60228 as three copies print it"},
		{"IEC 60228 2.5 FlexibleTinned", byArea(2.5, FlexibleTinned), 8.21, 1e-9, "IEC 60228 as three copies print it"},
		{"AWG 26 per km", byGauge(26), 133.9, 5e-4, "HyperPhysics wire gauge table"},
		{"AWG 24 per km", byGauge(24), 84.2, 5e-4, "HyperPhysics wire gauge table"},
		{"AWG 22 per km", byGauge(22), 52.96, 5e-4, "HyperPhysics wire gauge table"},
		{"AWG 20 per km", byGauge(20), 33.3, 5e-4, "HyperPhysics wire gauge table"},
		{"AWG 18 per km", byGauge(18), 20.95, 5e-4, "HyperPhysics wire gauge table"},
		{"AWG 16 per km", byGauge(16), 13.17, 5e-4, "HyperPhysics wire gauge table"},
		{"AWG 14 per km", byGauge(14), 8.285, 5e-4, "HyperPhysics wire gauge table"},
		{"AWG 12 per km", byGauge(12), 5.211, 5e-4, "HyperPhysics wire gauge table"},
		{"table of terminators, 1 of 120", float64(Parallel(slices.Repeat([]Ohm{120}, 1)...)), 120, 1e-9, tia},
		{"table of terminators, 2 of 120", float64(Parallel(slices.Repeat([]Ohm{120}, 2)...)), 60, 1e-9, tia},
		{"table of terminators, 3 of 120", float64(Parallel(slices.Repeat([]Ohm{120}, 3)...)), 40, 1e-9, tia},
		{"table of terminators, 4 of 120", float64(Parallel(slices.Repeat([]Ohm{120}, 4)...)), 30, 1e-9, tia},
		{"table of terminators, 1 of 150", float64(Parallel(slices.Repeat([]Ohm{150}, 1)...)), 150, 1e-9, practice},
		{"table of terminators, 2 of 150", float64(Parallel(slices.Repeat([]Ohm{150}, 2)...)), 75, 1e-9, practice},
		{"table of terminators, 3 of 150", float64(Parallel(slices.Repeat([]Ohm{150}, 3)...)), 50, 1e-9, practice},
		{"table of terminators, 4 of 150", float64(Parallel(slices.Repeat([]Ohm{150}, 4)...)), 37.5, 1e-9, practice},
		{"GIV-7", float64(roundTripLength(153600, 1, 5e-9)), 651.0, 1e-3, practice},
	}
	for _, r := range rows {
		tolerance := r.tolerance * math.Abs(r.want)
		if r.tolerance < 0 {
			tolerance = -r.tolerance
		}
		if !(math.Abs(r.got-r.want) <= tolerance) {
			t.Errorf("%s: %.6g, expected %.6g (%s)", r.id, r.got, r.want, r.source)
		}
	}
	// The companion result prints the steps at the receiving end as truncated
	// integers: 180, 90, 135, 112, 123 and 60, 90, 105, 112, 116.
	for _, c := range []struct {
		load Ohm
		want [5]float64
	}{{90, [5]float64{180, 90, 135, 112.5, 123.75}}, {10, [5]float64{60, 90, 105, 112.5, 116.25}}} {
		for i, a := range (Step{120, 0, 30, c.load, 1}).Lattice(1, 9) {
			if !(math.Abs(float64(a.Volt)-c.want[i]) <= 1e-9) || float64(a.At) != float64(2*i+1) {
				t.Errorf("REF-5, load %v, arrival %d: %v V after %v transits, expected %v (%s)", c.load, i, a.Volt, a.At, c.want[i], stevenson)
			}
		}
	}
	if _, err := (&Feed{24, []Node{{-1, flex75.Loop().Over(120), Load{Power: 30}}}}).Solve(); !errors.Is(err, ErrNoOperatingPoint) {
		t.Errorf("DC-13: %v, expected no operating point (%s)", err, copper)
	}
}

// What is accepted, refused or called marginal, with the source of the limit.
func TestPublishedVerdicts(t *testing.T) {
	idle := func(across Ohm) Verdict {
		switch v := (Bias{5, 650, 650}).Idle(across); {
		case v < Sensitivity:
			return Fail
		case v < Sensitivity*1.05:
			return Marginal
		}
		return Pass
	}
	modbusStub := func(n int) float64 { r, _ := Modbus.Stubs(9600, n); return float64(r.Each) }
	length := func(k *Kind, rate BitPerSecond) float64 { l, _ := k.LengthLimit(rate); return float64(l.Longest) }
	stubs := func(k *Kind, rate BitPerSecond) StubRule { r, _ := k.Stubs(rate, 1); return r }
	wire := func(mm2 float64, nodes int) float64 { l, _ := CANWireLength(mm2, nodes); return float64(l) }
	for _, r := range []struct {
		id        string
		got, want any
		source    string
	}{
		{"485-4", idle(Parallel(120, 120)), Pass, "TIA-485-A; figure computed"},
		{"485-5", idle(Parallel(120, 120, Inputs(32))), Marginal, "TIA-485-A; figure computed"},
		{"485-6", idle(Parallel(120, 120, 120)), Fail, "TIA-485-A; figure computed"},
		{"MB-7 1", modbusStub(1), 20.0, "Modbus over Serial Line V1.02, 3.4.3"},
		{"MB-7 2", modbusStub(2), 20.0, "Modbus over Serial Line V1.02, 3.4.3"},
		{"MB-7 4", modbusStub(4), 10.0, "Modbus over Serial Line V1.02, 3.4.3"},
		{"MB-7 8", modbusStub(8), 5.0, "Modbus over Serial Line V1.02, 3.4.3"},
		{"MB-11 0", Modbus.AddressVerdict(0), Fail, "Modbus over Serial Line V1.02, 2.2"},
		{"MB-11 1", Modbus.AddressVerdict(1), Pass, "Modbus over Serial Line V1.02, 2.2"},
		{"MB-11 247", Modbus.AddressVerdict(247), Pass, "Modbus over Serial Line V1.02, 2.2"},
		{"MB-11 248", Modbus.AddressVerdict(248), Fail, "Modbus over Serial Line V1.02, 2.2"},
		{"Modbus 9600", length(&Modbus, 9600), 1000.0, "Modbus over Serial Line V1.02, 3.4.3"},
		{"PB-7 93.75", length(&Profibus, 93750), 1200.0, "page on PROFIBUS cable length by rate"},
		{"PB-7 187.5", length(&Profibus, 187500), 1000.0, "page on PROFIBUS cable length by rate"},
		{"PB-7 500", length(&Profibus, 500000), 400.0, "page on PROFIBUS cable length by rate"},
		{"PB-7 1500", length(&Profibus, 1500000), 200.0, "page on PROFIBUS cable length by rate"},
		{"PB-7 12000", length(&Profibus, 12000000), 100.0, "page on PROFIBUS cable length by rate"},
		{"PB-8 pass", stubs(&Profibus, 1500000).Sum > 6.55, true, "PROFIBUS Competency Center Australia, table 1"},
		{"PB-8 fail", stubs(&Profibus, 1500000).Sum < 7.05, true, "PROFIBUS Competency Center Australia, table 1"},
		{"PB stubs 12000", stubs(&Profibus, 12000000).Sum, Metre(0), "PROFIBUS Competency Center Australia, table 1"},
		{"PB-9 0", Profibus.AddressVerdict(0), Pass, "from memory"},
		{"PB-9 126", Profibus.AddressVerdict(126), Marginal, "from memory"},
		{"PB-9 127", Profibus.AddressVerdict(127), Fail, "from memory"},
		{"CAN 1000", length(&CAN, 1000000), 25.0, "CAN System Engineering, table 4.1"},
		{"CAN 500", length(&CAN, 500000), 100.0, "CAN System Engineering, table 4.1"},
		{"CAN 10", length(&CAN, 10000), 5000.0, "CAN System Engineering, table 4.1"},
		{"CAN-8 each", stubs(&CAN, 500000).Each >= 3, true, "CAN System Engineering, table 4.2"},
		{"CAN-8 sum", stubs(&CAN, 500000).Sum < 30, true, "CAN System Engineering, table 4.2"},
		{"CAN-9a", wire(0.5, 64), 310.0, "CiA 303-1 as quoted"},
		{"CAN-9b", wire(0.25, 100), 150.0, "CiA 303-1 as quoted"},
		{"CAN id 0", CAN.AddressVerdict(0), Fail, "CiA 301, from memory"},
		{"CAN id 1", CAN.AddressVerdict(1), Pass, "CiA 301, from memory"},
		{"CAN id 127", CAN.AddressVerdict(127), Pass, "CiA 301, from memory"},
		{"DC-2", SupplyVerdict(20.256), Marginal, "IEC 61131-2, from memory"},
		{"DC-4", SupplyVerdict(22.085), Pass, "IEC 61131-2, from memory"},
		{"DC-7", SupplyVerdict(18.972), Fail, "IEC 61131-2, from memory"},
	} {
		if r.got != r.want {
			t.Errorf("%s: %v, expected %v (%s)", r.id, r.got, r.want, r.source)
		}
	}
	// UART-5: no two rates of the ladder are so near that a wrong setting works a little.
	ladder := []float64{9600, 19200, 38400, 57600, 76800, 93750, 115200, 153600, 187500, 500000, 1500000}
	least := math.Inf(1)
	for i := 1; i < len(ladder); i++ {
		least = min(least, ladder[i]/ladder[i-1])
	}
	if !(math.Abs(least-1.2207) <= 1e-3) || least-1 < 4*RateBound(11) {
		t.Errorf("UART-5: the smallest step is %v (computed)", least)
	}
	// The gauge law and the printed table agree within 0.05 %.
	for awg := range awgOhmPer1000Feet {
		r, _ := ByGauge(awg)
		d := 0.127 * math.Pow(92, float64(36-awg)/39) // mm
		if law := 17.241 / (math.Pi / 4 * d * d); !(math.Abs(law/float64(r)-1) <= 6e-4) {
			t.Errorf("AWG %d: %v by the law, %v by the table (ASTM B258, from memory)", awg, law, r)
		}
	}
}

// roundTripLength is the length whose echo takes a share of a bit.
func roundTripLength(rate BitPerSecond, share float64, delay SecondPerMetre) Metre {
	return Metre(share * float64(rate.Bit()) / float64(RoundTrip(1, delay)))
}
