package planner

// keep holds to the last plan where that costs little: see calm.
func (m *model) keep(path []planned) []planned { return path }
