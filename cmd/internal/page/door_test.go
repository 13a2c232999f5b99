package page

import (
	"testing"
	"time"
)

// Who came by the link is no device with a number, and is not put out as one.
func TestWhoCameByTheLinkIsNoDevice(t *testing.T) {
	s := &Server{door: newDoor(time.Now)}
	token, ok := s.door.use(s.door.link())
	if !ok || s.Out(0) || s.Out(1) || !s.door.knows(token) || len(s.Devices()) != 0 {
		t.Errorf("let in %v; then known %v, and %d devices", ok, s.door.knows(token), len(s.Devices()))
	}
}
