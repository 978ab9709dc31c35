// Package capture takes readings from the instruments themselves, over serial ports,
// while the work is being done, and loses none.
//
// What arrives goes this way:
//
//	port -> Splitter -> Journal -> State -> Update
//
// A [Session] reads the ports and splits what arrives into lines. Each line, with the
// time at which it arrived, and everything that the technician does or says, becomes
// an [Entry] of the [Journal], an append-only file, and is on the disk before anything
// else happens with it. Then [State.Apply] makes of it what it means: an event of the
// record, a line that cannot be read, an instrument that is gone. The record so far is
// judged by package verify, and an [Update] tells it all to a screen or a printer.
//
// A State depends on nothing but the entries. So the journal of a session that ended
// in any way, replayed, gives the same record.
//
// # What counts
//
// A line counts from the moment at which it arrived, by the clock of the computer:
// one clock for the readings of two instruments and for the steps of the technician.
// A line with a time of its own that does not fit its arrival is no reading taken now
// and is not read.
//
// A line of the indicator that cannot be read may have been a live reading, of any
// pair, or a proof that failed. It counts as an unreadable reading of every pair that
// was tested before it, so that none of them stands as dead until it is tested again,
// and as an unreadable proof on what was proved on last, so that nothing counts that is
// tested behind it until that is proved again.
//
// The lines of the proving unit are no evidence by themselves. They tell which unit
// the indicator was proved on and what it put out.
package capture
