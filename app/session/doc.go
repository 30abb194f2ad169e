// Package session is what the window knows while a project is open: which dates
// are in hand, what is being marked and how, and the bodies ready to be drawn.
// It calls the jobs of the project and holds nothing of the toolkit, so that
// everything a person does can be tried without a window.
package session
