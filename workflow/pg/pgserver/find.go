//go:build linux

package pgserver

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// findBin returns the folder that holds initdb and postgres: the given one, else
// the newest of Debian's, what pg_config names, or what the PATH leads to.
func findBin(given string) (string, error) {
	if given != "" {
		for _, d := range []string{given, filepath.Join(given, "bin")} {
			if hasServer(d) {
				return d, nil
			}
		}
		return "", fmt.Errorf("no PostgreSQL server binaries (initdb and postgres) in %s", given)
	}
	for _, d := range candidates() {
		if hasServer(d) {
			return d, nil
		}
	}
	return "", errors.New("no PostgreSQL server binaries found (initdb and postgres). Install them with:\n  " +
		installCommand() + "\nor name their folder in LASTGOOD_PG_BIN")
}

func candidates() []string {
	dirs, _ := filepath.Glob("/usr/lib/postgresql/*/bin") // Debian and its kin
	slices.SortFunc(dirs, func(a, b string) int { return major(b) - major(a) })
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

func hasServer(dir string) bool {
	return executable(filepath.Join(dir, "initdb")) && executable(filepath.Join(dir, "postgres"))
}

func executable(p string) bool {
	fi, err := os.Stat(p)
	return err == nil && fi.Mode().IsRegular() && fi.Mode()&0o111 != 0
}

// installCommand is the one command that installs a server on this system.
func installCommand() string {
	b, _ := os.ReadFile("/etc/os-release")
	return installCommandFor(string(b))
}

func installCommandFor(osRelease string) string {
	var ids string
	for line := range strings.Lines(osRelease) {
		if k, v, _ := strings.Cut(strings.TrimSpace(line), "="); k == "ID" || k == "ID_LIKE" {
			ids += " " + strings.Trim(v, `"`) + " "
		}
	}
	for _, c := range []struct{ id, command string }{
		{" debian ", "apt-get install -y --no-install-recommends postgresql"},
		{" ubuntu ", "apt-get install -y --no-install-recommends postgresql"},
		{" fedora ", "dnf install -y postgresql-server"},
		{" rhel ", "dnf install -y postgresql-server"},
		{" alpine ", "apk add postgresql"},
		{" arch ", "pacman -S --noconfirm postgresql"},
		{" suse ", "zypper install -y postgresql-server"},
	} {
		if strings.Contains(ids, c.id) {
			return c.command
		}
	}
	return "(your system's package manager: the PostgreSQL server package)"
}
