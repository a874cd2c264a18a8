// Package stats turns counts into figures.
//
// In: plain numbers. Out: estimates with their interval, the n behind them and warnings. Every
// function is pure and gives its formula and source. It never runs SQL, reads a file, draws a
// picture, or hides a doubt: what it cannot say it returns as NaN beside a warning, or as an error
// that names the argument.
package stats
