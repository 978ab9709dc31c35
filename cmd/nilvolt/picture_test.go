package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"nilvolt/record"
	"nilvolt/report"
	"nilvolt/verify"
)

// statesOf reads "L1-N dead, SL1-E@on MISSING left" into pair states; what
// follows the word is the point.
func statesOf(t *testing.T, text string) []verify.PairState {
	t.Helper()
	var out []verify.PairState
	for item := range strings.SplitSeq(text, ",") {
		words := strings.Fields(item)
		name, position, _ := strings.Cut(words[0], "@")
		pair, err := record.ParsePair(name)
		if err != nil {
			t.Fatal(err)
		}
		at, err := record.ParseSwitch(position)
		if err != nil {
			t.Fatal(err)
		}
		p := verify.PairState{Tested: record.Tested{Pair: pair, Switch: at, Point: strings.Join(words[2:], " ")}, State: 99}
		for _, state := range report.States {
			if faceOf(state).word == words[1] {
				p.State = state
			}
		}
		out = append(out, p)
	}
	return out
}

func TestPicture(t *testing.T) {
	tests := []struct {
		name  string
		width int
		pairs string
		want  string
	}{
		{"single-phase", 80, "L-N dead, L-E MISSING, N-E dead", `
   N        E
L  dead     MISSING
N           dead
`},
		{"three-phase", 80, "L1-L2 dead, L1-L3 dead, L1-N LIVE, L1-E dead, L2-L3 dead, L2-N dead, L2-E UNPROVED, L3-N dead, L3-E dead, N-E RESIDUAL", `
    L2        L3        N         E
L1  dead      dead      LIVE      dead
L2            dead      dead      UNPROVED
L3                      dead      dead
N                                 RESIDUAL
`},
		{"a switched line stands above, one row a position", 80, "SL1-N@on dead, SL1-E@on dead, SL1-N@off MISSING, SL1-E@off dead, L-N dead, L-E dead, N-E dead", `
         N        E
SL1 on   dead     dead
SL1 off  MISSING  dead
L        dead     dead
N                 dead
`},
		{"a pair asked for again in a position", 80, "L-N dead, L-N@on LIVE, L-E dead, N-E dead", `
      N     E
L     dead  dead
L on  LIVE
N           dead
`},
		{"without neutral", 80, "L1-L2 dead, L1-L3 dead, L1-E dead, L2-L3 dead, L2-E dead, L3-E UNREADABLE", `
    L2          L3          E
L1  dead        dead        dead
L2              dead        dead
L3                          UNREADABLE
`},
		{"points that are whole are only named", 80, "L-N dead left, L-E dead left, N-E dead left, L-N dead right, L-E MISSING right, N-E dead right", `
at right
   N        E
L  dead     MISSING
N           dead
every pair dead and proved at left
`},
		{"letters where words do not fit", 30, "L1-L2 dead, L1-L3 dead, L1-N LIVE, L1-E dead, L2-L3 dead, L2-N dead, L2-E UNPROVED, L3-N dead, L3-E dead, N-E MISSING", `
    L L N E
    2 3
L1  d d L d
L2    d d U
L3      d d
N         M
d = dead, M = missing, L =
live, U = unproved
`},
		{"a state without a face never looks dead", 80, "L-E what", `
   E
L  NOT JUDGED
`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := theme{width: tt.width}.picture(statesOf(t, tt.pairs), 0)
			if diff := cmp.Diff(strings.TrimPrefix(tt.want, "\n"), got); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// allPairs returns the pairs of n conductors C1 to Cn, all dead but the last.
func allPairs(t *testing.T, n int) []verify.PairState {
	var out []verify.PairState
	for a := range n {
		for b := a + 1; b < n; b++ {
			out = append(out, verify.PairState{State: verify.Good, Tested: record.Tested{Pair: record.Pair{
				A: conductor(t, fmt.Sprint("C", a+1)), B: conductor(t, fmt.Sprint("C", b+1)),
			}}})
		}
	}
	out[len(out)-1].State = verify.LiveRead
	return out
}

func TestPictureOfManyConductorsFitsAndShowsTheLiveOne(t *testing.T) {
	for _, n := range []int{3, 8, 9, 14, 15, 30, 40, 60, 61, 200} {
		got := theme{width: 80}.picture(allPairs(t, n), 2)
		for line := range strings.Lines(got) {
			if columnsOf(strings.TrimSuffix(line, "\n")) > 80 {
				t.Errorf("%d conductors: a line of %d columns: %s", n, columnsOf(line), line)
			}
		}
		if n <= mostRows && !strings.Contains(got, "L") {
			t.Errorf("%d conductors: the live pair is not to be seen:\n%s", n, got)
		}
		if n > mostRows+1 && !strings.Contains(got, fmt.Sprintf("of %s pairs", number(n*(n-1)/2))) {
			t.Errorf("%d conductors: %s", n, got)
		}
	}
}
