package main

import (
	"strings"
	"syscall"
)

// advices say what to do where the machine refuses. An error of the engine has no type, only the same words.
var advices = []struct {
	refusals []syscall.Errno
	do       string
}{
	{[]syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG}, "free some space there or raise the limit, then run again"},
	{[]syscall.Errno{syscall.EACCES, syscall.EPERM, syscall.EROFS}, "give this user the right to it or name another folder, then run again"},
	{[]syscall.Errno{syscall.EIO}, "have the disk looked at, then run again"},
}

// advice is what to do about an error, where that is the machine's; empty otherwise.
func advice(err error) string {
	said := strings.ToLower(err.Error())
	for _, a := range advices {
		for _, refusal := range a.refusals {
			if strings.Contains(said, refusal.Error()) {
				return a.do + "; what was there before is whole"
			}
		}
	}
	return ""
}
