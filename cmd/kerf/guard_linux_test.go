package main

import (
	"fmt"
	"net"
	"os"
	"runtime"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"
)

// guardName is the name under which the test binary runs a program that is
// killed at its first socket. It needs no privileges.
const guardName = "kerf-guard"

func guard() {
	if err := denySockets(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(9)
	}
	if os.Args[1] == "dial" { // shows that the guard guards
		net.Dial("udp", "127.0.0.1:9")
		os.Exit(8)
	}
	fmt.Fprintln(os.Stderr, syscall.Exec(os.Args[1], os.Args[1:], os.Environ()))
	os.Exit(9)
}

// denySockets installs a filter of system calls (Linux,
// Documentation/userspace-api/seccomp_filter.rst) that kills the process at socket, socketpair and
// io_uring_setup; programs that it starts inherit it.
func denySockets() error {
	runtime.LockOSThread()
	const numberOfCall = 0 // offset of nr in struct seccomp_data
	filter := []unix.SockFilter{{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: numberOfCall}}
	for _, call := range []uint32{unix.SYS_SOCKET, unix.SYS_SOCKETPAIR, unix.SYS_IO_URING_SETUP} {
		filter = append(filter,
			unix.SockFilter{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, Jf: 1, K: call},
			unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_KILL_PROCESS})
	}
	filter = append(filter,
		unix.SockFilter{Code: unix.BPF_RET | unix.BPF_K, K: unix.SECCOMP_RET_ALLOW})
	program := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	if _, _, errno := unix.Syscall(unix.SYS_SECCOMP, unix.SECCOMP_SET_MODE_FILTER,
		unix.SECCOMP_FILTER_FLAG_TSYNC, uintptr(unsafe.Pointer(&program))); errno != 0 {
		return errno
	}
	return nil
}
