//go:build linux

package pgserver

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// findBin returns the folder that holds initdb and postgres: the given one, else
// that of the version that made the data, the newest of Debian's, what pg_config
// names, or what the PATH leads to.
func findBin(given, version string) (string, error) {
	where := ""
	dirs := []string{given, filepath.Join(given, "bin")}
	if given == "" {
		dirs = candidates(version)
	} else {
		where = " in " + given
	}
	for _, d := range dirs {
		if isServerIn(d) {
			return filepath.Abs(d)
		}
	}
	return "", fmt.Errorf("no PostgreSQL server binaries (initdb and postgres) found%s. Install them with:\n  %s\n"+
		"or name their folder in LASTGOOD_PG_BIN", where, installCommand())
}

func candidates(version string) []string {
	dirs, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // Debian and its kin
	slices.SortFunc(dirs, func(a, b string) int { return major(b) - major(a) })
	if version != "" { // an upgrade of the system may have brought a newer one beside it
		dirs = slices.Insert(dirs, 0, filepath.Join("/usr/lib/postgresql", version, "bin"))
	}
	if out, err := exec.Command("pg_config", "--bindir").Output(); err == nil {
		dirs = append(dirs, strings.TrimSpace(string(out)))
	}
	if p, err := exec.LookPath("postgres"); err == nil {
		if p, err = filepath.EvalSymlinks(p); err == nil {
			dirs = append(dirs, filepath.Dir(p))
		}
	}
	return dirs
}

func major(dir string) int { n, _ := strconv.Atoi(filepath.Base(filepath.Dir(dir))); return n }

// isServerIn wants the programs themselves: a wrapper script on the PATH would
// stand between us and the server, and take our signals.
func isServerIn(dir string) bool {
	return isProgram(filepath.Join(dir, "initdb")) && isProgram(filepath.Join(dir, "postgres"))
}

func isProgram(path string) bool {
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	fi, err := f.Stat()
	if err != nil || !fi.Mode().IsRegular() || fi.Mode()&0o111 == 0 {
		return false
	}
	magic := make([]byte, 4)
	_, err = io.ReadFull(f, magic)
	return err == nil && bytes.Equal(magic, []byte("\x7fELF"))
}

// versionOf asks the binaries for their version: "15.18".
func versionOf(bin string) (string, error) {
	out, err := exec.Command(filepath.Join(bin, "postgres"), "--version").Output()
	if err != nil {
		return "", fmt.Errorf("%s/postgres --version: %w", bin, err)
	}
	words := strings.Fields(string(out)) // postgres (PostgreSQL) 15.18 (Debian …)
	if len(words) < 3 {
		return "", errors.New(bin + "/postgres --version says " + strconv.Quote(string(out)))
	}
	return words[2], nil
}
