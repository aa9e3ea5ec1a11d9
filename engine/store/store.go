// Package store keeps what stages made, by content.
package store
