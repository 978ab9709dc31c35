package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// mountSmall mounts a small file system in memory.
func mountSmall(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size)
	if errors.Is(err, syscall.EPERM) {
		t.Skip("mounting is not permitted here")
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// TestDiskFull fills the disk under a ledger.
func TestDiskFull(t *testing.T) {
	small := mountSmall(t, "4m")
	p := &faultPlace{where: filepath.Join(small, "l.db"), key: filepath.Join(small, "key"), dir: t.TempDir()}
	const records = 100
	first := p.writeReadings(t, "first", records)
	if code, out := p.ingest(t, first); code != 0 {
		t.Fatal(out)
	}
	acknowledged := map[string]bool{first: true}
	large := p.writeReadings(t, "large", 30_000)
	code, out := p.ingest(t, large)
	if code != 2 || !strings.Contains(out, "full") || !strings.Contains(out, "nothing was kept") {
		t.Errorf("exit code %d: %s", code, out)
	}
	p.check(t, acknowledged, records)
	// Filled to the last byte, nothing is lost either.
	filler := filepath.Join(small, "filler")
	f, err := os.Create(filler)
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := f.Write(make([]byte, 4096)); err != nil {
			break // full
		}
	}
	f.Close()
	second := p.writeReadings(t, "second", records)
	if code, out := p.ingest(t, second); code != 2 {
		t.Errorf("exit code %d: %s", code, out)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	p.check(t, acknowledged, records)
	if code, out := p.ingest(t, second); code != 0 {
		t.Errorf("with room again, exit code %d: %s", code, out)
	}
	acknowledged[second] = true
	p.check(t, acknowledged, records)
}

// TestReadOnly ingests to where nothing can be written.
func TestReadOnly(t *testing.T) {
	dir := mountSmall(t, "8m")
	p := &faultPlace{where: filepath.Join(dir, "l.db"), key: filepath.Join(dir, "key"), dir: t.TempDir()}
	const records = 50
	first, second := p.writeReadings(t, "first", records), p.writeReadings(t, "second", records)
	if code, out := p.ingest(t, first); code != 0 {
		t.Fatal(out)
	}
	remount := func(flags uintptr) {
		if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|flags, ""); err != nil {
			t.Fatal(err)
		}
	}
	remount(syscall.MS_RDONLY)
	code, out := p.ingest(t, second)
	if code != 2 || !strings.Contains(out, "nothing was kept") {
		t.Errorf("exit code %d: %s", code, out)
	}
	fresh := &faultPlace{where: filepath.Join(dir, "new.db"), key: filepath.Join(dir, "new.key"), dir: p.dir}
	if code, out := fresh.ingest(t, second); code != 2 {
		t.Errorf("a new ledger: exit code %d: %s", code, out)
	}
	// What is kept can still be looked at and audited.
	p.check(t, map[string]bool{first: true}, records)
	remount(0)
	if code, out := p.ingest(t, second); code != 0 {
		t.Errorf("where one can write again, exit code %d: %s", code, out)
	}
	p.check(t, map[string]bool{first: true, second: true}, records)
}
