package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// inNamespace is set in the environment of a test that runs in namespaces of its own.
const inNamespace = "NILVOLT_TEST_NAMESPACE"

// mountSmall mounts a small file system in memory. Where that is not permitted, and a
// user may not make namespaces either, ok is false.
//
// Where only the latter is, the test is run once more in namespaces of its own, in which
// it may mount; its outcome there is the outcome, and done is true.
func mountSmall(t *testing.T, size string) (dir string, ok, done bool) {
	t.Helper()
	dir = t.TempDir()
	err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size)
	if errors.Is(err, syscall.EPERM) && os.Getenv(inNamespace) == "" {
		return "", false, runInNamespace(t)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	return dir, true, false
}

// runInNamespace runs the test in namespaces of its own, and reports whether that could
// be done.
func runInNamespace(t *testing.T) bool {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
	cmd.Env = append(os.Environ(), inNamespace+"=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	out, err := cmd.CombinedOutput()
	if err != nil && len(out) == 0 {
		t.Logf("no namespaces here: %v", err)
		return false
	}
	t.Logf("in namespaces of its own:\n%s", out)
	if err != nil {
		t.Error(err)
	}
	return true
}

// TestDiskFull fills the disk under a ledger. Where nobody may mount a small one, the
// size of files is limited instead, which TestFileLimit does everywhere.
func TestDiskFull(t *testing.T) {
	small, ok, done := mountSmall(t, "4m")
	if done {
		return
	}
	if !ok {
		fillUp(t, limitedPlace(t, 4<<20), map[string]bool{})
		return
	}
	p := &faultPlace{where: filepath.Join(small, "l.db"), key: filepath.Join(small, "key"), dir: t.TempDir()}
	acknowledged := map[string]bool{}
	fillUp(t, p, acknowledged)
	// Filled to the last byte, nothing is lost either.
	filler := filepath.Join(small, "filler")
	fill(t, filler)
	second := p.writeReadings(t, "full", faultRecords)
	if code, out := p.ingest(t, second); code != 2 || !strings.Contains(out, "nothing was kept") {
		t.Errorf("exit code %d: %s", code, out)
	}
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	p.check(t, acknowledged, faultRecords)
	if code, out := p.ingest(t, second); code != 0 {
		t.Errorf("with room again, exit code %d: %s", code, out)
	}
	acknowledged[second] = true
	p.check(t, acknowledged, faultRecords)
}

// fill writes a file until the disk is full.
func fill(t *testing.T, name string) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}

// TestFileLimit has the system refuse to let files grow beyond a limit (RLIMIT_FSIZE),
// which needs no rights at all.
func TestFileLimit(t *testing.T) { fillUp(t, limitedPlace(t, 4<<20), map[string]bool{}) }

// limitedPlace is a ledger whose processes may write files up to a size.
func limitedPlace(t *testing.T, bytes int) *faultPlace {
	dir := t.TempDir()
	return &faultPlace{
		where: filepath.Join(dir, "l.db"), key: filepath.Join(dir, "key"), dir: dir,
		// POSIX, ulimit: in units of 512 bytes.
		through: []string{"sh", "-c", "ulimit -f " + strconv.Itoa(bytes/512) + `; exec "$@"`, "sh"},
	}
}

// fillUp ingests until there is no room, and then something smaller.
func fillUp(t *testing.T, p *faultPlace, acknowledged map[string]bool) {
	t.Helper()
	first, large, last := p.writeReadings(t, "first", faultRecords), p.writeReadings(t, "large", 30_000), p.writeReadings(t, "last", faultRecords)
	if code, out := p.ingest(t, first); code != 0 {
		t.Fatal(out)
	}
	acknowledged[first] = true
	code, out := p.ingest(t, large)
	if code != 2 || strings.Contains(out, ",new,") || !strings.Contains(out, "mend: make room") || !strings.Contains(out, "nothing was kept") {
		t.Errorf("exit code %d: %s", code, out)
	}
	p.check(t, acknowledged, faultRecords)
	if code, out := p.ingest(t, last); code != 0 {
		t.Errorf("what there is room for: exit code %d: %s", code, out)
	}
	acknowledged[last] = true
	p.check(t, acknowledged, faultRecords)
}

// faultRecords is how many records most files of these tests have.
const faultRecords = 100

// TestReadOnly ingests to where nothing can be written: a file system that is mounted to
// be read only or, where nobody may mount, a folder whose rights forbid it.
func TestReadOnly(t *testing.T) {
	dir, ok, done := mountSmall(t, "8m")
	if done {
		return
	}
	p := &faultPlace{dir: t.TempDir()}
	forbid := func(flags uintptr) {
		if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|flags, ""); err != nil {
			t.Fatal(err)
		}
	}
	if !ok {
		dir = t.TempDir()
		forbid = func(flags uintptr) { setRights(t, dir, flags == 0) }
		if os.Getuid() == 0 { // whom no rights stop
			p.prepare = func(cmd *exec.Cmd) {
				cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
			}
			if err := os.Chmod(filepath.Dir(dir), 0o755); err != nil {
				t.Fatal(err)
			}
			setRights(t, dir, true)
		}
	}
	p.where, p.key = filepath.Join(dir, "l.db"), filepath.Join(dir, "key")
	first, second := p.writeReadings(t, "first", faultRecords), p.writeReadings(t, "second", faultRecords)
	if code, out := p.ingest(t, first); code != 0 {
		t.Fatal(out)
	}
	forbid(syscall.MS_RDONLY)
	code, out := p.ingest(t, second)
	if code != 2 || !strings.Contains(out, "nothing was kept") {
		t.Errorf("exit code %d: %s", code, out)
	}
	fresh := *p
	fresh.where, fresh.key = filepath.Join(dir, "new.db"), filepath.Join(dir, "new.key")
	if code, out := fresh.ingest(t, second); code != 2 {
		t.Errorf("a new ledger: exit code %d: %s", code, out)
	}
	// What is kept can still be looked at and audited.
	p.check(t, map[string]bool{first: true}, faultRecords)
	forbid(0)
	if code, out := p.ingest(t, second); code != 0 {
		t.Errorf("where one can write again, exit code %d: %s", code, out)
	}
	p.check(t, map[string]bool{first: true, second: true}, faultRecords)
}

// setRights lets everybody, or nobody, write to a folder and the files in it, which
// belong to whom the processes run as.
func setRights(t *testing.T, dir string, write bool) {
	t.Helper()
	mode := os.FileMode(0o555)
	if write {
		mode = 0o777
	}
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range append(names, dir) {
		if filepath.Base(name) == "key" {
			continue // only its owner may read it
		}
		if err := os.Chmod(name, mode); err != nil {
			t.Fatal(err)
		}
	}
}

// TestPipe hands readings in through a pipe, which can be read only once: the bytes must
// be kept as they came all the same.
func TestPipe(t *testing.T) {
	dir := t.TempDir()
	p := &faultPlace{where: filepath.Join(dir, "l.db"), key: filepath.Join(dir, "key"), dir: dir}
	file := p.writeReadings(t, "piped", faultRecords)
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	written := make(chan error, 1)
	go func() { written <- os.WriteFile(pipe, want, 0o600) }()
	out, diagnostics, code := runCommand(t, "", "ingest", pipe, "--ledger", p.where, "--key", p.key, "--format", "csv")
	if err := <-written; err != nil {
		t.Fatal(err)
	}
	if code != 0 || strings.Count(out, ",new,") != faultRecords {
		t.Fatalf("exit status %d: %s", code, diagnostics)
	}
	p.check(t, map[string]bool{pipe: true}, faultRecords)
	l := p.open(t)
	uploads, err := l.Uploads(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	got, err := l.Content(t.Context(), uploads[0].Files[0].Content)
	if err != nil || string(got) != string(want) {
		t.Errorf("%d bytes are kept of %d: %v", len(got), len(want), err)
	}
}
