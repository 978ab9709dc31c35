package ledger

import (
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"strings"
)

// A Role is the part that a file played in an upload.
type Role string

// The roles.
const (
	Readings    Role = "readings"
	Jobs        Role = "jobs"
	Instruments Role = "instruments"
	Policy      Role = "policy"
	Map         Role = "map"
	JobsMap     Role = "jobs-map"
)

// A File is one file of an upload.
type File struct {
	Role Role
	Name string // as it was given
	// Open opens the file; it is called twice, and both times it must give the same
	// bytes.
	Open func() (io.ReadCloser, error)
}

// A Manifest is what is handed in by one call.
type Manifest struct {
	By    string // who hands it in; may be blank
	Zone  string // of times without an offset; blank if none was given
	Files []File // in the order given
}

// An Upload is one call of ingest under way.
type Upload struct {
	ID   int64
	Made string // when it was kept, RFC 3339 in UTC
	Same bool   // the same files, in the same roles and of the same names, were kept before; none is added

	// Number counts the uploads for people: 1 is the first.
	Number int
	// WithoutRows has Add keep records that only a job sheet names as well.
	WithoutRows bool

	tx   *Tx
	rows map[Role][]int64 // the contents, by role, in the order given

	first    int64 // the first version that is added is this or a later leaf
	earlier  bool  // the ledger holds a version from before this upload
	versions *inserter
	usage    *inserter
	proofs   *inserter
	spans    spans // when the new versions used their indicators
	earliest int64
	latest   int64
}

// Upload keeps the files of m and returns the upload, to which the versions of its
// records are to be added. If the same files were kept before it returns that upload,
// and adds none.
func (t *Tx) Upload(m Manifest) (*Upload, error) {
	sums := make([]Hash, len(m.Files))
	digest := sha256.New()
	digest.Write(leaf("nilvolt/upload/v2\x00").text(m.Zone))
	for i, f := range m.Files {
		sum, err := f.hash()
		if err != nil {
			return nil, err
		}
		sums[i] = sum
		digest.Write(leaf(nil).text(string(f.Role)).text(lastPart(f.Name)).bytes(sum[:]))
	}
	whole := digest.Sum(nil)
	u := &Upload{tx: t, rows: map[Role][]int64{}, spans: spans{}}
	err := t.tx.QueryRowContext(t.ctx, `SELECT leaf, made FROM upload WHERE digest = $1`, whole).Scan(&u.ID, &u.Made)
	u.Same = err == nil
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	rows := make([]int64, len(m.Files))
	files := make([]UploadFile, len(m.Files))
	for i, f := range m.Files {
		if rows[i], err = t.keep(sums[i], f.Open); err != nil {
			return nil, fmt.Errorf("%s: %w", f.Name, err)
		}
		u.rows[f.Role] = append(u.rows[f.Role], rows[i])
		files[i] = UploadFile{Role: f.Role, Name: f.Name, Content: rows[i]}
	}
	var earlier int
	if !u.Same {
		if err := u.write(m, whole, files); err != nil {
			return nil, err
		}
	}
	err = t.tx.QueryRowContext(t.ctx, `SELECT COUNT(*), (SELECT COUNT(*) FROM (SELECT leaf FROM version LIMIT 1) AS any_version)
		FROM upload WHERE leaf <= $1`, u.ID).Scan(&u.Number, &earlier)
	u.first, u.earlier = t.tree.leaves, earlier > 0
	t.unjudged = u.first
	u.prepare()
	return u, err
}

// lastPart returns the last part of a path of either kind. A column map may take the
// record from it, so the same bytes under another name are another upload; in which
// folder they lie says nothing.
func lastPart(name string) string { return name[strings.LastIndexAny(name, `/\`)+1:] }

// hash reads the file and returns its SHA-256.
func (f *File) hash() (Hash, error) {
	r, err := f.Open()
	if err != nil {
		return Hash{}, err
	}
	defer r.Close()
	sum, _, err := hashOf(r)
	if err != nil {
		err = fmt.Errorf("%s: %w", f.Name, err)
	}
	return sum, err
}

// An UploadFile is a file of a kept upload.
type UploadFile struct {
	Role    Role
	Name    string // as it was given
	Content int64  // its row, for [Ledger.Content]
}

func uploadLeaf(made, by, zone string, digest []byte, files []UploadFile) leaf {
	l := newLeaf(kindUpload).text(made).text(by).text(zone).bytes(digest).int(int64(len(files)))
	for _, f := range files {
		l = l.text(string(f.Role)).text(f.Name).int(f.Content)
	}
	return l
}

// write writes the rows of the upload itself.
func (u *Upload) write(m Manifest, digest []byte, files []UploadFile) error {
	t := u.tx
	made := stamp(t.now)
	id, err := t.leaf(uploadLeaf(made, m.By, m.Zone, digest, files))
	if err != nil {
		return err
	}
	u.ID, u.Made = id, made
	err = t.exec(`INSERT INTO upload (leaf, made, by_whom, zone, digest) VALUES ($1, $2, $3, $4, $5)`,
		id, made, m.By, m.Zone, digest)
	if err != nil {
		return err
	}
	for i, f := range files {
		err := t.exec(`INSERT INTO upload_file (upload, number, role, name, content) VALUES ($1, $2, $3, $4, $5)`,
			id, i, string(f.Role), f.Name, f.Content)
		if err != nil {
			return err
		}
	}
	return nil
}

// Context returns what the records of the upload are judged by.
func (u *Upload) Context() Context {
	one := func(role Role) int64 {
		if rows := u.rows[role]; len(rows) > 0 {
			return rows[0]
		}
		return 0
	}
	return Context{Policy: one(Policy), Register: one(Instruments), Map: one(Map)}
}
