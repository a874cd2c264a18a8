// Package chart turns the plain numbers and labels of one figure into one
// inline <svg>.
//
// In: a figure such as [HeatTable] or [Funnel], filled in by the caller. Out:
// its SVG method gives template.HTML. In between stands a [Scene], a plain list
// of marks, which tests read. The package never learns where numbers came from,
// runs no query, reads no file and keeps no state. The same figure gives the
// same bytes.
//
// # Classes
//
// No colour is set here. A style sheet must give, and nothing more than that:
//
//   - f-deep, f-rust, f-ochre, f-paper, f-band1, f-band2, f-ramp0 to f-ramp6,
//     f-ink, f-soft: fill. f-hatch sets no fill: the element refers to a hatch
//     pattern of its figure.
//   - s-deep, s-rust, s-ochre, s-violet, s-base, s-ink, s-paper, s-soft: stroke.
//   - t, t-axis, t-count: size of text, as in [TextSizes]. t-soft, t-strong,
//     t-rust, t-violet and t-on-dark come on top of one of these three.
//     t-strong, t-rust and t-violet are set in the medium weight. t-on-dark
//     stands on f-ramp5 and f-ramp6, so its colour is that of the paper.
//
// # Bad input
//
// A number that is not finite, or a rate outside 0 to 1, is not drawn; its row
// says so in words. A figure without anything to draw is a sentence.
package chart
