//go:build linux

package pgserver

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// unprivileged returns the account that the server runs under; nil: our own.
// PostgreSQL refuses to run as root.
func unprivileged() (*syscall.Credential, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, uidErr := strconv.ParseUint(u.Uid, 10, 32)
		gid, gidErr := strconv.ParseUint(u.Gid, 10, 32)
		if uidErr == nil && gidErr == nil && uid != 0 {
			return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
		}
	}
	return nil, errors.New("running as root, and there is no account postgres or nobody to run the database under")
}

// reachable says which folder on the way keeps the server's account out. Without
// it the failure would be a bare "permission denied".
func reachable(dir string, account *syscall.Credential) error {
	if account == nil {
		return nil
	}
	for d := dir; ; d = filepath.Dir(d) {
		fi, err := os.Stat(d)
		if err != nil {
			return err
		}
		st := fi.Sys().(*syscall.Stat_t)
		may := fi.Mode().Perm() & 0o001
		if st.Uid == account.Uid {
			may = fi.Mode().Perm() & 0o100
		} else if st.Gid == account.Gid {
			may = fi.Mode().Perm() & 0o010
		}
		if may == 0 {
			return fmt.Errorf("the database's account (uid %d) cannot enter the folder %s (mode %04o)", account.Uid, d, fi.Mode().Perm())
		}
		if d == filepath.Dir(d) {
			return nil
		}
	}
}

func owned(fi os.FileInfo, account *syscall.Credential) bool {
	uid := uint32(os.Geteuid())
	if account != nil {
		uid = account.Uid
	}
	return fi.IsDir() && fi.Sys().(*syscall.Stat_t).Uid == uid
}

// makeOwned makes a folder that only the server's account enters. It must be
// new: in a shared folder another account could have put a link in its place,
// and root would give away what that leads to.
func makeOwned(dir string, account *syscall.Credential) error {
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	if account != nil {
		if err := os.Chown(dir, int(account.Uid), int(account.Gid)); err != nil {
			return err
		}
	}
	return os.Chmod(dir, 0o700)
}
