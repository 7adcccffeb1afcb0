"""What the workshop keeps: stock, holds, quotes, orders, keys. Catalog and rules stay in files and memory."""
