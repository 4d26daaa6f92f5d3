//go:build linux

package pgserver

import "testing"

// TestInstallCommand: ID and ID_LIKE as in os-release(5). The packages' names are
// those of the distributions: Debian's was used, the others are from memory.
func TestInstallCommand(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, osRelease, want string }{
		{"Debian", "PRETTY_NAME=\"Debian GNU/Linux 12 (bookworm)\"\nID=debian\n", "apt-get install -y --no-install-recommends postgresql"},
		{"like Debian", "ID=linuxmint\nID_LIKE=\"ubuntu debian\"\n", "apt-get install -y --no-install-recommends postgresql"},
		{"Fedora", "ID=fedora\n", "dnf install -y postgresql-server"},
		{"like Red Hat", "ID=\"rocky\"\nID_LIKE=\"rhel centos fedora\"\n", "dnf install -y postgresql-server"},
		{"Alpine", "ID=alpine", "apk add postgresql"},
		{"Arch", "ID=arch\n", "pacman -S --noconfirm postgresql"},
		{"openSUSE", "ID=\"opensuse-leap\"\nID_LIKE=\"suse opensuse\"\n", "zypper install -y postgresql-server"},
		{"only the names of keys", "VERSION_ID=debian\n", "(your system's package manager: the PostgreSQL server package)"},
		{"nothing", "", "(your system's package manager: the PostgreSQL server package)"},
	} {
		if got := installCommandFor(c.osRelease); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}
