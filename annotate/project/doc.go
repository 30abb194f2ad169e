// Package project is the store of one specimen's project and the jobs that
// window and commands share: adding a scan, aligning, measuring change, marking.
//
// A project is a folder:
//
//	project.json   the commit point: format, version, record, which map belongs to which use, and path, bytes and SHA-256 of every file
//	scans/         scan files bit for bit as received, named by their SHA-256
//	maps/          map files, named by their SHA-256
//	journal.jsonl  the actions since project.json was written, each synced before it counts as done
//	log.jsonl      what was saved and handed over, only ever appended to
//	lock           who has the project open
//
// Save writes new content-addressed files and syncs them, then replaces
// project.json by a temporary file, sync, rename and sync of the folder. A kill
// at any moment leaves the old or the new project, and the journal brings back
// every finished action. Sizes are checked on opening, checksums whenever a
// file is read and all of them by Verify; a damaged file is named and blocks
// what rests on it, not the rest.
//
// Everything is reached through an os.Root, so that no path in a project leads
// out of its folder. A Project is safe for concurrent use, except that maps are
// live: see Project.Map.
//
// Not supported: projects on several machines at once, attachments, packing.
package project
