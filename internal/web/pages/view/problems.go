package view

// Problems are what is wrong with an entry, for the script that sent it.
func (l Log) Problems() []string { return l.Form.Wrong }

// Problems are the lines of an error, for the script that met it.
func (t Trouble) Problems() []string { return t.Lines }
