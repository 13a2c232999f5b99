package line

import "math"

// Bit is the time of one bit.
func (r BitPerSecond) Bit() Second { return Second(1 / float64(r)) }

// Character is the time of one character of so many bits, start, parity and stop included.
func (r BitPerSecond) Character(bits int) Second { return Second(float64(bits) / float64(r)) }

// Silences are the gaps of Modbus RTU: the longest inside a message, and the
// least between two. Above 19,200 bit/s they are fixed (Modbus over Serial Line
// V1.02, 2.5.1.1).
func Silences(rate BitPerSecond) (inside, between Second) {
	if rate > 19200 {
		return 750e-6, 1750e-6
	}
	c := rate.Character(11)
	return 1.5 * c, 3.5 * c
}

// InputsAnswer is the length in bytes of a Modbus RTU answer that carries
// discrete inputs. The application protocol, from memory.
func InputsAnswer(points int) int { return 5 + (points+7)/8 }

// inputsRequest is the length in bytes of a Modbus RTU request for discrete inputs, from memory.
const inputsRequest = 8

// InputsPoll is the time of one request for discrete inputs with its answer and
// both silences; turnaround is how long the unit thinks.
func InputsPoll(rate BitPerSecond, points int, turnaround Second) Second {
	_, between := Silences(rate)
	return rate.Character(11*(inputsRequest+InputsAnswer(points))) + 2*between + turnaround
}

// Drift is how far, in bits, a receiver has slipped in the middle of the last of
// a character's bits. It starts anew at each start bit. From half a bit on, the
// character cannot be read.
func Drift(sent, set BitPerSecond, bits int) float64 {
	return math.Abs(float64(sent)/float64(set)-1) * (float64(bits) - 0.5)
}

// RateBound is the error of rate at which the last bit is lost: half a bit of drift.
func RateBound(bits int) float64 { return 0.5 / (float64(bits) - 0.5) }

// CANFrame is the longest classic frame with an 11-bit identifier in bits, every
// stuffing bit and the three bits between frames included (Davis and others 2007,
// from memory).
func CANFrame(dataBytes int) int {
	const checked = 34 // bits that are stuffed beside the data
	return checked + 8*dataBytes + 13 + (checked+8*dataBytes-1)/4
}

// canSamplePoint is where in a bit it is sampled.
const canSamplePoint = 0.875

// CANSample is the time from the start of a bit to its sample point, recommended
// at 87.5 % (CAN System Engineering, tables 4.1 and 4.2).
func CANSample(rate BitPerSecond) Second { return Second(canSamplePoint / float64(rate)) }

// CANLongest is the trunk on which a bit still reaches both ends in time to be
// acknowledged: half the sample time less what nodes and devices take one way.
func CANLongest(rate BitPerSecond, node Second, delay SecondPerMetre) Metre {
	return Metre((float64(CANSample(rate))/2 - float64(node)) / float64(delay))
}
