// Package app is the window: one specimen's logbook with the specimen to look
// at. It draws nothing of geometry and computes no value itself: it calls the
// same functions as the commands and shows what they say. Only this folder and
// cmd/rigatino know the toolkit.
//
// Goroutines: everything of the toolkit happens on its own goroutine; long work
// runs in app/job and comes back through fyne.Do; pictures are made by one
// worker that always takes the newest camera.
package app
