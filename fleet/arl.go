package fleet

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Average run lengths: the mean number of normal values until a chart signals, the
// mean of the values being shift standard deviations off. They solve the integral
// equation of the run length by Gauss-Legendre quadrature (Nystroem's method).
// Source: Lucas and Crosier (1982), Technometrics 24 (CUSUM); Crowder (1987),
// Technometrics 29 (EWMA).

// arlNodes is the number of quadrature nodes; with it the run lengths of charts in
// use are right to nine digits and more.
const arlNodes = 80

// ShewhartARL returns the average run length of a chart of individual values with
// limits of width standard deviations on both sides.
func ShewhartARL(width, shift float64) float64 {
	return 1 / (distuv.UnitNormal.CDF(-width-shift) + distuv.UnitNormal.CDF(shift-width))
}

// ARL returns the average run length of the two-sided chart. Its sides are joined by
// the formula of Lucas and Crosier, which is exact where they cannot both be far from
// 0, as with k >= 0 and head starts up to h/2.
func (c CUSUM) ARL(shift float64) float64 {
	high0, high := c.sideARL(shift, 0), c.sideARL(shift, c.HeadStart)
	low0, low := c.sideARL(-shift, 0), c.sideARL(-shift, c.HeadStart)
	return (high*low0 + high0*low - high0*low0) / (high0 + low0)
}

// OneSidedARL returns the average run length of the upper side alone.
func (c CUSUM) OneSidedARL(shift float64) float64 { return c.sideARL(shift, c.HeadStart) }

// sideARL solves L(z) = 1 + L(0) F(k-z) + integral from 0 to h of L(x) f(x-z+k) dx at
// z = start, f and F being those of the shifted values.
func (c CUSUM) sideARL(shift, start float64) float64 {
	n := arlNodes
	x, w := legendre(n, 0, c.Decision)
	z := append([]float64{0}, x...) // the sum rests at 0 with a chance of its own
	row := func(z float64, set func(j int, v float64)) {
		set(0, distuv.UnitNormal.CDF(c.Reference-z-shift))
		for j := range x {
			set(j+1, w[j]*distuv.UnitNormal.Prob(x[j]-z+c.Reference-shift))
		}
	}
	l := solveRunLength(z, row)
	sum := 1.0
	row(start, func(j int, v float64) { sum += v * l[j] })
	return sum
}

// solveRunLength returns L at the states z, where row gives the chances, or the
// weighted densities, of going from z to each state.
func solveRunLength(z []float64, row func(z float64, set func(j int, v float64))) []float64 {
	n := len(z)
	a := mat.NewDense(n, n, nil)
	ones := mat.NewVecDense(n, nil)
	for i := range z {
		row(z[i], func(j int, v float64) { a.Set(i, j, -v) })
		a.Set(i, i, a.At(i, i)+1)
		ones.SetVec(i, 1)
	}
	var l mat.VecDense
	// The matrix is near singular only where the run length is beyond all use.
	_ = l.SolveVec(a, ones)
	return l.RawVector().Data
}

// legendre returns the nodes and weights of the Gauss-Legendre rule.
func legendre(n int, low, high float64) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, low, high)
	return x, w
}

// ARL returns the average run length of the chart with limits that stay as wide as
// they become in the end; widening says that they start narrow, as those of
// [EWMA.Chart] do.
func (e EWMA) ARL(shift float64, widening bool) float64 {
	half := e.Width * math.Sqrt(e.Lambda/(2-e.Lambda))
	x, w := legendre(arlNodes, -half, half)
	density := func(to, from float64) float64 {
		return distuv.UnitNormal.Prob((to-(1-e.Lambda)*from)/e.Lambda-shift) / e.Lambda
	}
	l := solveRunLength(x, func(z float64, set func(j int, v float64)) {
		for j := range x {
			set(j, w[j]*density(x[j], z))
		}
	})
	if !widening {
		sum := 1.0
		for j := range x {
			sum += w[j] * density(x[j], 0) * l[j]
		}
		return sum
	}
	return e.wideningARL(density, x, l)
}

// wideningARL follows the density of the average, while the limits widen, until they
// are as wide as they get; from there on the run length is that of fixed limits.
func (e EWMA) wideningARL(density func(to, from float64) float64, fixed, l []float64) float64 {
	const still = 1e-10 // the limits have come to rest
	from, mass := []float64{0}, []float64{1}
	arl := 0.0
	for n := 1; ; n++ {
		for _, m := range mass {
			arl += m // the chance that the chart has not signalled yet
		}
		last := 1-e.spread(n)/math.Sqrt(e.Lambda/(2-e.Lambda)) < still
		half := e.Width * e.spread(n)
		if last {
			half = e.Width * math.Sqrt(e.Lambda/(2-e.Lambda))
		}
		x, w := legendre(len(fixed), -half, half)
		next := make([]float64, len(x))
		for j := range x {
			for i := range from {
				next[j] += w[j] * density(x[j], from[i]) * mass[i]
			}
		}
		from, mass = x, next
		if last {
			break
		}
	}
	for j, m := range mass {
		arl += m * l[j]
	}
	return arl
}
