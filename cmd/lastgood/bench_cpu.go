package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// tick is the kernel's unit of CPU time in /proc on every Linux we build for
// (USER_HZ is 100 on all of them).
const tick = time.Second / 100

// used returns the CPU time that we, psql and the whole server have used.
func (b *bench) used() (time.Duration, error) {
	var own syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &own); err != nil {
		return 0, fmt.Errorf("getrusage: %w", err)
	}
	total := time.Duration(own.Utime.Nano() + own.Stime.Nano())
	stats, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		return 0, err
	}
	for _, file := range stats {
		p, err := readStat(file)
		if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ESRCH) {
			continue // it ended while we looked
		}
		if err != nil {
			return 0, err
		}
		switch {
		case p.pid == b.postmaster: // with the backends that have ended
			total += p.self + p.children
		case p.parent == b.postmaster, p.pid == b.psql.pid():
			total += p.self
		}
	}
	return total, nil
}

type processStat struct {
	pid, parent    int
	self, children time.Duration
}

// readStat reads /proc/PID/stat (proc(5)): fields 4, 14 to 17. The name of the
// program stands in brackets and may hold anything.
func readStat(file string) (processStat, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return processStat{}, err
	}
	end := strings.LastIndexByte(string(text), ')')
	f := strings.Fields(string(text[end+1:]))
	if end < 0 || len(f) < 15 {
		return processStat{}, fmt.Errorf("%s is not what proc(5) says", file)
	}
	number := func(i int) int { n, _ := strconv.Atoi(f[i-3]); return n }
	pid, err := strconv.Atoi(filepath.Base(filepath.Dir(file)))
	return processStat{pid, number(4), time.Duration(number(14)+number(15)) * tick, time.Duration(number(16)+number(17)) * tick}, err
}
