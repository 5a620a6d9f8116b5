package view

// formsLine is how many fields of a form stand beside each other.
const formsLine = "four"

func (b jobBuilder) formFields(at func(string) string) []Field {
	return []Field{b.text(at("set"), JobSet), b.figure(at("count"), JobCount), b.figure(at("cells"), JobCells),
		b.text(at("for"), JobFor)}
}
