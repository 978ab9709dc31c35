package ledger

import (
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// A leaf is what the tree binds of a row: its kind, then each column that counts,
// with its length before it. So no two rows that differ have the same leaf.
type leaf []byte

// A kind is what a leaf stands for; it is the name of the table.
type kind string

// The kinds of leaf. The ledger itself is leaf 0.
const (
	kindLedger    kind = "ledger"
	kindContent   kind = "content"
	kindUpload    kind = "upload"
	kindVersion   kind = "version"
	kindJudging   kind = "judging"
	kindJudgement kind = "judgement"
	kindDecision  kind = "decision"
	kindEvent     kind = "event"
	kindLookBack  kind = "lookback"
	kindMark      kind = "mark"
)

// leafDomain keeps leaves apart from all else that is hashed, and says how the
// rest is to be read.
const leafDomain = "nilvolt/leaf/v1/"

// newLeaf begins a leaf.
func newLeaf(k kind) leaf {
	return append(append(leaf(leafDomain), k...), 0)
}

// text appends a column of text or bytes.
func (l leaf) text(s string) leaf {
	return append(binary.AppendUvarint(l, uint64(len(s))), s...)
}

// bytes appends a column of bytes.
func (l leaf) bytes(b []byte) leaf {
	return append(binary.AppendUvarint(l, uint64(len(b))), b...)
}

// int appends a column with a number.
func (l leaf) int(n int64) leaf {
	return binary.BigEndian.AppendUint64(append(l, 8), uint64(n))
}

// A Checkpoint is a tree head: how many leaves the tree has, and its root hash
// (RFC 6962, 2.1). Origin names the ledger.
type Checkpoint struct {
	Origin string
	Leaves int64
	Root   tlog.Hash
}

// text is what is signed.
// Source: C2SP tlog-checkpoint: origin, number of leaves in decimal, root hash in
// base64, a line each.
func (c Checkpoint) text() string {
	return c.Origin + "\n" + strconv.FormatInt(c.Leaves, 10) + "\n" + base64.StdEncoding.EncodeToString(c.Root[:]) + "\n"
}

// sign returns the checkpoint as a signed note.
func (c Checkpoint) sign(signer note.Signer) (string, error) {
	signed, err := note.Sign(&note.Note{Text: c.text()}, signer)
	return string(signed), err
}

var errCheckpointForm = errors.New("not a checkpoint: it wants the origin, the number of leaves and the root hash on three lines, a blank line, and a signature")

// CheckVerifierKey reports whether a text is a verifier key, "origin+hash+key", as to its
// form; nil if it is.
func CheckVerifierKey(text string) error {
	_, err := note.NewVerifier(text)
	return err
}

// CheckCheckpointForm reports whether a text is a signed checkpoint as to its form; nil if it
// is. Whose it is, and whether it was changed, only [OpenCheckpoint] tells.
func CheckCheckpointForm(signed string) error {
	_, err := note.Open([]byte(signed), note.VerifierList())
	unverified, ok := errors.AsType[*note.UnverifiedNoteError](err)
	if !ok {
		return errCheckpointForm
	}
	_, err = parseCheckpoint(unverified.Note.Text)
	return err
}

// OpenCheckpoint reads a signed checkpoint and verifies its signature with a
// verifier key, "origin+hash+key".
func OpenCheckpoint(signed, verifierKey string) (Checkpoint, error) {
	verifier, err := note.NewVerifier(verifierKey)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("verifier key %q: %w", verifierKey, err)
	}
	opened, err := note.Open([]byte(signed), note.VerifierList(verifier))
	if err != nil {
		return Checkpoint{}, fmt.Errorf("checkpoint: %w", err)
	}
	c, err := parseCheckpoint(opened.Text)
	if err != nil {
		return Checkpoint{}, err
	}
	if c.Origin != verifier.Name() {
		return Checkpoint{}, fmt.Errorf("checkpoint of %q, signed by %q", c.Origin, verifier.Name())
	}
	return c, nil
}

// parseCheckpoint is the reverse of [Checkpoint.text].
func parseCheckpoint(text string) (Checkpoint, error) {
	lines := strings.Split(text, "\n")
	if len(lines) < 4 {
		return Checkpoint{}, errCheckpointForm
	}
	leaves, err := strconv.ParseInt(lines[1], 10, 64)
	if err != nil || leaves < 0 || strconv.FormatInt(leaves, 10) != lines[1] {
		return Checkpoint{}, errCheckpointForm
	}
	root, err := tlog.ParseHash(lines[2])
	if err != nil {
		return Checkpoint{}, errCheckpointForm
	}
	return Checkpoint{Origin: lines[0], Leaves: leaves, Root: root}, nil
}

// tileHeight is how many levels of the tree are kept together: 256 hashes a tile.
const (
	tileHeight = 8
	tileWidth  = 1 << tileHeight
)

// A tile is up to 256 neighbouring hashes of one level of the tree.
type tile struct {
	level  int   // 0 is that of the leaves, 1 that of the roots of 256 leaves, ...
	number int64 // its first hash is number*256 of that level
}

// String is what an audit calls the hashes of the tile.
func (t tile) String() string {
	return fmt.Sprintf("hashes of the log (level %d, tile %d)", t.level, t.number)
}

// A tree grows by leaves and says which tiles have changed. Its tiles are in
// memory as far as they are used.
type tree struct {
	leaves  int64
	tiles   map[tile][]tlog.Hash
	changed map[tile]bool
	// load fetches a tile that is not in memory.
	load func(tile) ([]tlog.Hash, error)
}

func newTree(leaves int64, load func(tile) ([]tlog.Hash, error)) *tree {
	return &tree{leaves: leaves, tiles: map[tile][]tlog.Hash{}, changed: map[tile]bool{}, load: load}
}

// add appends the hash of a leaf and returns its place.
func (t *tree) add(h tlog.Hash) (int64, error) {
	at := t.leaves
	t.leaves++
	return at, t.put(0, at, h)
}

// put stores hash n of a level, and what becomes whole by it on the levels above.
func (t *tree) put(level int, n int64, h tlog.Hash) error {
	id := tile{level, n / tileWidth}
	var hashes []tlog.Hash
	if n%tileWidth > 0 {
		var err error
		if hashes, err = t.tile(id); err != nil {
			return err
		}
		hashes = hashes[:n%tileWidth]
	} else {
		hashes = make([]tlog.Hash, 0, tileWidth)
	}
	hashes = append(hashes, h)
	t.tiles[id], t.changed[id] = hashes, true
	if len(hashes) < tileWidth {
		return nil
	}
	return t.put(level+1, id.number, rootOf(hashes))
}

// rootOf returns the root over hashes, whose number is a power of two.
func rootOf(hashes []tlog.Hash) tlog.Hash {
	if len(hashes) == 1 {
		return hashes[0]
	}
	half := len(hashes) / 2
	return tlog.NodeHash(rootOf(hashes[:half]), rootOf(hashes[half:]))
}

// tile returns a tile.
func (t *tree) tile(id tile) ([]tlog.Hash, error) {
	if hashes, ok := t.tiles[id]; ok {
		return hashes, nil
	}
	hashes, err := t.load(id)
	if err != nil {
		return nil, err
	}
	t.tiles[id] = hashes
	return hashes, nil
}

// ReadHashes returns stored hashes by their index, as proofs ask for them.
func (t *tree) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		level, n := tlog.SplitStoredHashIndex(index)
		below := level % tileHeight // the hash is the root over 2^below hashes of the tile
		id := tile{level / tileHeight, n << below / tileWidth}
		hashes, err := t.tile(id)
		if err != nil {
			return nil, err
		}
		first := int(n<<below) % tileWidth
		if first+1<<below > len(hashes) {
			return nil, fmt.Errorf("tile %d of level %d is too short: the hashes of the log are damaged", id.number, id.level)
		}
		out[i] = rootOf(hashes[first : first+1<<below])
	}
	return out, nil
}

// root returns the root over the first n leaves.
func (t *tree) root(n int64) (tlog.Hash, error) { return tlog.TreeHash(n, t) }

// CheckExtends reports whether the tree of a later checkpoint extends that of an
// earlier one: nil when the proof says so.
func CheckExtends(proof []tlog.Hash, later, earlier Checkpoint) error {
	if later.Origin != earlier.Origin {
		return fmt.Errorf("the checkpoints are of two ledgers, %s and %s", later.Origin, earlier.Origin)
	}
	return tlog.CheckTree(proof, later.Leaves, later.Root, earlier.Leaves, earlier.Root)
}
