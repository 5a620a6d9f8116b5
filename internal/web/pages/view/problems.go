package view

// Problems are what is wrong with an entry, for the script that sent it.
func (l Log) Problems() []string {
	if l.PhotoForm != nil && len(l.PhotoForm.Wrong) > 0 {
		return l.PhotoForm.Wrong
	}
	return l.Form.Wrong
}

// Problems are the lines of an error, for the script whose request failed.
func (t Trouble) Problems() []string { return t.Lines }
