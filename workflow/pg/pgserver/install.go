//go:build linux

package pgserver

import (
	"os"
	"strings"
)

// installCommand is the one command that installs a server on this system.
func installCommand() string {
	b, _ := os.ReadFile("/etc/os-release")
	return installCommandFor(string(b))
}

// installCommandFor reads ID and ID_LIKE as os-release(5) describes them.
func installCommandFor(osRelease string) string {
	var ids []string
	for line := range strings.Lines(osRelease) {
		if k, v, _ := strings.Cut(strings.TrimSpace(line), "="); k == "ID" || k == "ID_LIKE" {
			ids = append(ids, strings.Fields(strings.Trim(v, `"'`))...)
		}
	}
	for _, id := range ids {
		switch id {
		case "debian", "ubuntu":
			return "apt-get install -y --no-install-recommends postgresql"
		case "fedora", "rhel", "centos":
			return "dnf install -y postgresql-server"
		case "alpine":
			return "apk add postgresql"
		case "arch":
			return "pacman -S --noconfirm postgresql"
		case "suse", "opensuse":
			return "zypper install -y postgresql-server"
		}
	}
	return "(your system's package manager: the PostgreSQL server package)"
}
