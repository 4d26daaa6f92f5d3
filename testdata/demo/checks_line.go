package demo

// checkLine checks the pasteuriser and the retort recorder on Mondays, in the
// bath beside the reference.
func (p *plant) checkLine() {
	for day := 0; day <= days; day += 7 {
		p.check(pasteuriser, "C", at(day, 5, 20), bath([]float64{65, 72, 80}, 0.1, 0.1, 0.0))
		points := bath([]float64{60, 100, 121.1}, 0.0, 0.1, 0.1)
		if day == retortFailsDay {
			points = bath([]float64{60, 100, 121.1}, -0.4, -0.7, -0.9)
			for i := range points {
				points[i].adjusted = true // to the reference's indication
			}
		}
		p.check(retortRec, "C", at(day, 5, 50), points)
	}
}

// checkLoggers checks the loggers every other Monday, and once more at the end.
func (p *plant) checkLoggers() {
	for _, day := range []int{0, loggerGoodDay, loggerFailsDay, days} {
		for i, r := range rooms {
			err := []float64{0.1, 0.0, -0.2, -0.1, 0.2}[i]
			if r.logger == failedLogger {
				switch {
				case day == loggerFailsDay:
					err = -1.3
				case day > loggerFailsDay:
					continue
				}
			}
			p.check(r.logger, "C", at(day, 6, 0), bath([]float64{0, 5, 10}, err, err, err))
		}
	}
	p.check(spareLogger, "C", at(loggerFailsDay, 6, 5), bath([]float64{0, 5, 10}, 0.1, 0.0, 0.1))
	p.check(spareLogger, "C", at(days, 6, 5), bath([]float64{0, 5, 10}, 0.1, 0.1, 0.1))
}

// checkReference looks at the reference in ice every four weeks.
func (p *plant) checkReference() {
	for _, day := range []int{0, 28} {
		p.check(reference, "C", at(day, 5, 0), []point{{kind: "ice", nominal: 0, err: 0.01, resolution: 2}})
	}
}

func bath(nominal []float64, errs ...float64) []point {
	out := make([]point, len(nominal))
	for i := range nominal {
		out[i] = point{kind: "comparison", nominal: nominal[i], err: errs[i], resolution: 1}
	}
	return out
}
