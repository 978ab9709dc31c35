package formats_test

import (
	"fmt"
	"strings"

	"nilvolt/formats"
	"nilvolt/record"
)

// The log and the map of the package comment.
func Example() {
	const mapText = `
delimiter: semicolon
decimal: comma
zone: Europe/Berlin
layout: dd.MM.yyyy HH:mm:ss
columns:
  time: Zeit
  event: {column: Art, words: {Messung: test}}
  indicator: {value: VI-07}
  pair: {column: Leiter, words: {Erde: E}}
  volts: {column: U (mV), unit: mV}
`
	const log = `Zeit;Art;Leiter;U (mV)
02.03.2026 10:15:40;Messung;L1-Erde;200,5
02.03.2026 10:15:52;Messung;L1-N;OL
`
	m, err := formats.ParseMap("log.yaml", []byte(mapText))
	if err != nil {
		fmt.Println(err)
		return
	}
	preview, err := formats.Check([]byte(log), "log.csv", m, "", 10)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, row := range preview.Rows {
		fmt.Println(row.Texts[formats.TimeColumn], row.Texts[formats.PairColumn], row.Texts[formats.VoltsColumn])
	}
	// Output:
	// 2026-03-02T10:15:40+01:00 L1/E 0.2005
	// 2026-03-02T10:15:52+01:00 L1/N OL
}

// A column that tells the unit is never passed over in silence.
func ExampleBind() {
	_, err := formats.Bind("time,event,indicator,pair,volts,unit\n", "log.csv", nil)
	fmt.Println(err)
	// Output:
	// log.csv:1:33: header "unit": a column that tells a unit cannot be ignored without saying so
}

// A day that could be a month is left to the reader of the map.
func ExampleGuessMap() {
	guess, err := formats.GuessMap([]byte("time,event\n03/04/2026 10:15:00Z,lock\n"), "log.csv")
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("sure:", guess.Sure)
	for line := range strings.Lines(guess.Map) {
		if strings.HasPrefix(line, "#   time") {
			fmt.Print(line)
		}
	}
	// Output:
	// sure: false
	// #   time: {column: time, layout: "d/M/yyyy H:mm:ssXXX"}  # UNSURE: column 1, as in "03/04/2026 10:15:00Z": no row tells which comes first, day, month or year; choose one of "d/M/yyyy H:mm:ssXXX", "M/d/yyyy H:mm:ssXXX"
}

func ExampleReadRegister() {
	const register = "instrument,kind,senses,serviced,interval_days\nVI-07,indicator,both,2025-05-18,365\n"
	instruments, err := formats.ReadRegister([]byte(register), "instruments.csv", nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(instruments["VI-07"].Senses, "due", instruments["VI-07"].Due())
	// Output:
	// both due 2026-05-18
}

func ExampleReadJobs() {
	const sheet = "record,supply,nominal\nR7,single-phase,230\n"
	jobs, err := formats.ReadJobs([]byte(sheet), "jobs.csv", nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(jobs[0].Record, jobs[0].Supply, jobs[0].Nominal, jobs[0].Supply == record.SinglePhase)
	// Output:
	// R7 single-phase 230 V true
}
