package disk

import (
	"os"
	"strconv"
	"sync"
	"sync/atomic"

	"golang.org/x/sys/unix"
)

// KillAtStep is the variable of the environment that tests of crashes set: the process kills itself before it takes the step
// of that number, counted from 1, so that every state in which a publication can be left is tried, not only those that a
// killer from outside happens to hit. Where it is not set, nothing is counted.
const KillAtStep = "SCANLEDGER_KILL_AT_STEP"

var (
	steps    atomic.Int64
	lastStep = sync.OnceValue(func() int64 {
		n, err := strconv.ParseInt(os.Getenv(KillAtStep), 10, 64)
		if err != nil {
			return 0
		}
		return n
	})
)

// step is called before each step that changes what others see, or makes it last.
func step() {
	if last := lastStep(); last == 0 || steps.Add(1) != last {
		return
	}
	_ = unix.Kill(os.Getpid(), unix.SIGKILL)
	select {} // the signal ends the process; nothing more is to happen until it does
}
