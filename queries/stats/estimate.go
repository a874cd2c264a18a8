package stats

// Estimate is a figure with its doubt.
type Estimate struct {
	Value     float64  // NaN when it cannot be said; Warnings then tells why
	Low, High float64  // ends of the interval at confidence Conf
	Conf      float64  // 0.95 for a 95 % interval
	N         int      // the count behind it
	Warnings  []string // what a reader must know before using it
}

// Interval is a pair of limits.
type Interval struct{ Low, High float64 }
