package rulebase

// A Sheet is an installation on paper: one trunk and all that hangs on it. What
// was not written is zero or nil, and is not reckoned with. Every field carries
// its unit in its name; places along the trunk are metres from the host's end.
type Sheet struct {
	Pos  Position
	Name string
	Line string  // kind of line
	Baud float64 // rate of the bus in bit/s

	Cable       []SheetCable // the trunk, from the host outwards
	Inline      []SheetInline
	Terminators []SheetTerminator
	Stubs       []SheetStub
	Drops       []SheetDrop // in cable order
	Supplies    []SheetSupply
	Bias        *SheetBias
	Shield      *SheetShield
	Beside      []SheetBeside // power cables beside the trunk
	Controller  *SheetController

	LossOfBus    string // what outputs do on loss of bus; "" not known
	Celsius      *float64
	RiseTimeNS   float64 // of the drivers' edges; 0 not known
	ClockPercent float64 // how far a unit's clock may be off, by its papers; 0 not said
	Messages     *SheetMessages
	LengthLimitM float64 // what the line's own papers allow; 0 not said
	UnitsLimit   int     // likewise
}

// SheetCable is a stretch of one kind of cable.
type SheetCable struct {
	Pos           Position
	Type          string
	LengthM       float64
	Conductor     *SheetConductor
	LoopOhmPerKm  float64 // both conductors, where the cable's own paper gives it; 0 else
	ImpedanceOhm  float64
	DelayNSPerM   float64 // one way
	Shielded      *bool
	VelocityShare float64 // of the speed of light, where given instead of a delay
}

// SheetConductor is one conductor of a cable, by section or by gauge.
type SheetConductor struct {
	Pos    Position
	Text   string
	AWG    int     // 0: by section
	MM2    float64 // 0: by gauge
	Strand string  // solid, flexible, flexible_tinned
}

// SheetInline is a device that the trunk runs through.
type SheetInline struct {
	Pos     Position
	Name    string
	Kind    string // repeater, isolator, converter, surge_arrester
	AtM     float64
	DelayNS float64
	Supply  string
}

// SheetTerminator is one terminator.
type SheetTerminator struct {
	Pos     Position
	AtM     float64
	AtEnd   bool // at the far end, wherever that is
	Ohm     float64
	Powered *bool // nil: a plain resistor

	BlocksDC bool // a capacitor stands in series
}

// SheetMessages is how the line's own papers have the host ask a drop.
type SheetMessages struct {
	Pos        Position
	Overhead   int // bytes of question and answer beside the points; HasOver says so
	HasOver    bool
	Character  int     // bits
	Turnaround float64 // seconds
	Wanted     float64 // seconds for a round; 0 not said
}

// SheetStub is a branch of the trunk.
type SheetStub struct {
	Pos     Position
	AtM     float64
	LengthM float64
	Tapped  int // how many leave one multi-port tap
}

// SheetDrop is one drop.
type SheetDrop struct {
	Pos      Position
	Name     string
	AtM      float64
	Address  int // 0 where none is written; HasAddr says so
	HasAddr  bool
	Baud     float64 // its own rate, where set apart from the bus
	UnitLoad float64
	Watt     float64 // of constant power
	Ampere   float64 // of constant current
	Modules  []SheetModule
	MostA    float64 // what its carrier can bring to its modules
}

// SheetModule is a module of a drop.
type SheetModule struct {
	Pos        Position
	Points     int
	Kind       string // input, output
	Ampere     float64
	EachAmpere float64 // of a point that is on
	On         int     // points on together
}

// SheetSupply is a supply and the cable from it to drops.
type SheetSupply struct {
	Pos     Position
	Name    string
	Volt    float64
	MostA   float64
	FuseA   float64
	Feeds   []SheetFeed
	Celsius *float64
}

// SheetFeed is a stretch of supply cable to a drop.
type SheetFeed struct {
	Pos       Position
	Drop      string
	From      string // "": the supply; else a drop it goes on from
	LengthM   float64
	Conductor *SheetConductor
}

// SheetBias is the network that holds an idle pair.
type SheetBias struct {
	Pos      Position
	AtM      float64
	Volt     float64
	Up, Down float64 // ohm
}

// SheetShield is how the shield is bonded.
type SheetShield struct {
	Pos    Position
	Bonded string // one_end, both_ends, nowhere
}

// SheetBeside is a power cable beside the trunk.
type SheetBeside struct {
	Pos           Position
	FromM, ToM    float64
	ApartM        float64
	PowerScreened bool
	Divider       string // none, aluminium, steel
}

// SheetController is what the controller was told.
type SheetController struct {
	Pos   Position
	Baud  float64
	Drops []SheetMapped
}

// SheetMapped is a drop as the controller has it in its map.
type SheetMapped struct {
	Pos     Position
	Address int
	First   int // first point, from 1; 0: not written
	Points  int
}

// TrunkM is the length of the trunk in metres.
func (s *Sheet) TrunkM() float64 {
	sum := 0.0
	for _, c := range s.Cable {
		sum += c.LengthM
	}
	return sum
}
