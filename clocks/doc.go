// Package clocks finds out how the clock of one instrument goes against that of
// another, from the proofs that the logs of both show.
//
// A voltage indicator that is proved on a proving unit leaves the same proof in two
// logs: its own, and the unit's. Either log may have missed some, have others of
// other instruments, or have one twice. [Align] looks for the straight line
//
//	log = reference + offset + drift x (reference - middle)
//
// on which most proofs of both logs fall together. It lets every pair of proofs vote
// for an offset, under each drift that a quartz clock may have, pairs the proofs in
// order along the best line, and fits it robustly.
//
// A wrong line would move evidence to another record, so the answer is sure only when
// no other line explains much of the logs (proofs every half hour fit as well half an
// hour later), when chance does not explain it, when most of what could be common is,
// and when the clock has not been set in between. Else it says why it is in doubt.
package clocks
