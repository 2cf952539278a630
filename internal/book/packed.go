package book

func openPacked(_ []byte, name string) (sheet, error) {
	return sheet{}, &FileError{Name: name, What: "it is a packed file that is no spreadsheet", Fix: "save it as .xlsx, .ods or .csv"}
}
