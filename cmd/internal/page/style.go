package page

// Style is the style sheet, for pages of ours that are no part of a server.
func Style() string {
	text, err := files.ReadFile("page.css")
	if err != nil {
		panic(err) // it is compiled in
	}
	return string(text)
}
