package queries

// pile takes in rows of which nobody knows how many there will be. A slice that grows by appending is copied again and again: for
// some hundred thousand wide rows that takes longer than reading them.
type pile[T any] struct {
	full [][]T
	last []T
}

// pileStep is after how many rows the next slice begins.
const pileStep = 8192

// add puts a zero row on the pile, to be filled in before the next is added.
func (p *pile[T]) add() *T {
	if len(p.last) == pileStep {
		p.full, p.last = append(p.full, p.last), make([]T, 0, pileStep)
	}
	p.last = append(p.last, *new(T))
	return &p.last[len(p.last)-1]
}

// all are the rows in the order in which they came; never nil.
func (p *pile[T]) all() []T {
	out := make([]T, 0, pileStep*len(p.full)+len(p.last))
	for _, rows := range p.full {
		out = append(out, rows...)
	}
	return append(out, p.last...)
}
